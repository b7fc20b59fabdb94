package server

import (
	"testing"

	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }
