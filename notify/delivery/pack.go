package delivery

import (
	"bytes"
	"compress/gzip"
	"io"
)

// packAbove is the length from which a checkpoint is compressed.
const packAbove = 64 << 10

// Pack is a checkpoint as it is stored.
func Pack(body []byte) []byte {
	if len(body) < packAbove {
		return body
	}
	var b bytes.Buffer // which takes all
	z := gzip.NewWriter(&b)
	_, _ = z.Write(body)
	_ = z.Close()
	return b.Bytes()
}

// Unpack reads what Pack wrote; JSON never begins with gzip's first byte.
func Unpack(body []byte) ([]byte, error) {
	if len(body) == 0 || body[0] != 0x1f {
		return body, nil
	}
	z, err := gzip.NewReader(bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(z)
}
