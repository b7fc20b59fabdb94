package engine_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
)

// assembly is what the compiler makes of the packages for arm64. To compile for that
// machine all that they stand on takes half a minute, which is for CI. Elsewhere they
// alone are, and what they import is read as this machine has it.
func assembly(t *testing.T, packages ...string) []byte {
	t.Helper()
	if os.Getenv("TELLTALE_CI") == "1" || runtime.GOARCH != "amd64" {
		return forArm(t, ".", append([]string{"build", "-gcflags=-S"}, packages...)...)
	}
	var all []compiled
	list, err := exec.Command("go", append([]string{"list", "-export", "-deps", "-json=ImportPath,Export,Dir,GoFiles,EmbedPatterns,EmbedFiles,DepOnly"}, packages...)...).Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	for d := json.NewDecoder(bytes.NewReader(list)); d.More(); {
		var p compiled
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	dir := t.TempDir()
	imports := relabel(t, dir, all)
	var out []byte
	for _, p := range all {
		if p.DepOnly {
			continue
		}
		args := []string{"tool", "compile", "-S", "-p", p.ImportPath, "-importcfg", imports, "-embedcfg", p.embedded(t, dir), "-o", filepath.Join(dir, "made.a")}
		for _, f := range p.GoFiles {
			args = append(args, filepath.Join(p.Dir, f))
		}
		out = append(out, forArm(t, p.Dir, args...)...)
	}
	return out
}

// forArm runs the go command for arm64 and returns what it says.
func forArm(t *testing.T, dir string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command("go", args...)
	cmd.Dir, cmd.Env = dir, append(cmd.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("go %s: %v\n%s", args[0], err, out[max(0, len(out)-2000):])
	}
	return out
}

// compiled is a package as `go list` tells of it.
type compiled struct {
	ImportPath, Export, Dir   string
	GoFiles                   []string
	EmbedPatterns, EmbedFiles []string
	DepOnly                   bool
}

// embedded is a file that tells the compiler which files the package embeds.
func (p compiled) embedded(t *testing.T, dir string) string {
	t.Helper()
	var cfg struct {
		Patterns map[string][]string
		Files    map[string]string
	}
	cfg.Patterns, cfg.Files = map[string][]string{}, map[string]string{}
	for _, pattern := range p.EmbedPatterns {
		cfg.Patterns[pattern] = slices.DeleteFunc(slices.Clone(p.EmbedFiles), func(f string) bool { ok, _ := path.Match(pattern, f); return !ok })
	}
	for _, f := range p.EmbedFiles {
		cfg.Files[f] = filepath.Join(p.Dir, f)
	}
	text, err := json.Marshal(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return written(t, dir, "embed", text)
}

// relabel copies what the packages export, for whom it was compiled aside, and returns
// the file that tells the compiler where.
func relabel(t *testing.T, dir string, all []compiled) string {
	t.Helper()
	forArm(t, dir, "tool", "compile", "-p", "empty", "-o", filepath.Join(dir, "empty.a"), written(t, dir, "empty.go", []byte("package empty\n")))
	label, _ := exported(t, filepath.Join(dir, "empty.a"))
	var where bytes.Buffer
	for i, p := range all {
		if p.Export == "" { // unsafe
			continue
		}
		_, rest := exported(t, p.Export)
		section := slices.Concat(label, rest)
		file := fmt.Appendf(nil, "!<arch>\n%-16s%-12d%-6d%-6d%-8o%-10d`\n%s", "__.PKGDEF", 0, 0, 0, 0o644, len(section), section)
		fmt.Fprintf(&where, "packagefile %s=%s\n", p.ImportPath, written(t, dir, fmt.Sprint(i, ".a"), file))
	}
	return written(t, dir, "imports", where.Bytes())
}

// exported is the first section of a compiled package: its first line, which says for
// whom it was compiled, and the rest.
func exported(t *testing.T, name string) (label, rest []byte) {
	t.Helper()
	text, err := os.ReadFile(name)
	const magic, header = len("!<arch>\n"), 60
	size := 0
	if err == nil && len(text) > magic+header {
		_, err = fmt.Sscan(string(text[magic+header-12:magic+header-2]), &size)
	}
	if err != nil || len(text) < magic+header+size {
		t.Fatalf("%s is no compiled package: %v", name, err)
	}
	label, rest, _ = bytes.Cut(text[magic+header:magic+header+size], []byte("\n"))
	return append(bytes.Clone(label), '\n'), rest
}

func written(t *testing.T, dir, name string, text []byte) string {
	t.Helper()
	name = filepath.Join(dir, name)
	if err := os.WriteFile(name, text, 0o644); err != nil {
		t.Fatal(err)
	}
	return name
}
