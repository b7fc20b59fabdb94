package try

import (
	"context"
	"testing"
)

// Hold has each vehicle wait for do before it is looked at, until the test ends.
func Hold(t *testing.T, do func(context.Context)) {
	before = do
	t.Cleanup(func() { before = func(context.Context) {} })
}
