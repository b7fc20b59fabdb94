package language

import (
	"bufio"
	"fmt"
	"io"
	"net/textproto"
	"strconv"

	"github.com/creachadair/jrpc2/channel"
)

// longest is the longest message that an editor may send, in bytes: room is made for a
// message before it is read, and a file of rules has at most 256 KiB.
const longest = 64 << 20

// framed is the protocol's framing, which refuses a message that says it is longer.
type framed struct {
	channel.Channel
	r *bufio.Reader
}

func frames(r io.Reader, w io.WriteCloser) channel.Channel {
	return framed{channel.LSP(nil, w), bufio.NewReader(r)}
}

// Recv reads the next message. What is no message ends the talk: nobody knows where the
// next one would begin.
func (f framed) Recv() ([]byte, error) {
	head, err := textproto.NewReader(f.r).ReadMIMEHeader()
	if err != nil {
		return nil, err
	}
	n, err := strconv.Atoi(head.Get("Content-Length"))
	if err != nil || n < 0 || n > longest {
		return nil, fmt.Errorf("a message of %q bytes", head.Get("Content-Length"))
	}
	text := make([]byte, n)
	_, err = io.ReadFull(f.r, text)
	return text, err
}
