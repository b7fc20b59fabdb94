package server

import (
	"fmt"
	"net"
	"strconv"
	"time"

	natsserver "github.com/nats-io/nats-server/v2/server"
)

// Connection is a client that is signed in.
type Connection struct {
	// ID names it as long as the server runs.
	ID uint64
	// Key is the public half of the key that it signed in by, or of the one that stands for
	// those who come without.
	Key string
	// Name is what it calls itself.
	Name string
	// From is its address, host:port.
	From string
	// Since and Last are when it came, and when something last came from it.
	Since, Last time.Time
	// Sent counts the messages that came from it.
	Sent int64
}

// atMostListed bounds how many connections are listed.
const atMostListed = 10_000

// Connections are those that are open, by when they came; the service's own is not among
// them.
func (s *Server) Connections() ([]Connection, error) {
	list, err := s.ns.Connz(&natsserver.ConnzOptions{Username: true, Limit: atMostListed, Sort: natsserver.ByStart})
	if err != nil {
		return nil, fmt.Errorf("listing the connections: %w", err)
	}
	var out []Connection
	for _, c := range list.Conns {
		if c.AuthorizedUser == s.users.Service {
			continue
		}
		out = append(out, Connection{ID: c.Cid, Key: c.AuthorizedUser, Name: c.Name, From: net.JoinHostPort(c.IP, strconv.Itoa(c.Port)),
			Since: c.Start, Last: c.LastActivity, Sent: c.InMsgs})
	}
	return out, nil
}

// Disconnect ends a connection. Its client may come again, unless its program was taken out.
func (s *Server) Disconnect(id uint64) error {
	if err := s.ns.DisconnectClientByID(id); err != nil {
		return fmt.Errorf("ending connection %d: %w", id, err)
	}
	return nil
}
