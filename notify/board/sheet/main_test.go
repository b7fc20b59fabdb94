package sheet_test

import (
	"testing"

	"telltale/notify/board/boardtest"
)

func TestMain(m *testing.M) { boardtest.Main(m) }
