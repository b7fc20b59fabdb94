package quick

import "syscall"

// inMemory is a folder in memory with a gigabyte of room; "" where there is none.
func inMemory() string {
	const dir, room = "/dev/shm", 1 << 30
	var disk syscall.Statfs_t
	if syscall.Statfs(dir, &disk) != nil || disk.Bavail*uint64(disk.Bsize) < room {
		return ""
	}
	return dir
}
