package board

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"
)

// Listen serves the pages at an address, host:port, until the server is closed.
func (b *Board) Listen(address string) (*http.Server, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("serving the answers: %w", err)
	}
	s := &http.Server{Handler: b, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 32 << 10}
	b.Log.Info("serving answers", "address", l.Addr().String())
	go func() {
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			b.Log.Error("serving the answers", "error", err)
		}
	}()
	return s, nil
}
