package main

import (
	"fmt"
	"sync"

	"github.com/rogpeppe/go-internal/testscript"

	"witnessmark/client/waytest"
)

// cuts are the ways that scripts opened, by address.
var cuts sync.Map

func openWays(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: ways")
	}
	for n := 1; n <= 2; n++ {
		w, err := waytest.Open("127.0.0.1:0", ts.Getenv("ADDR"))
		ts.Check(err)
		ts.Defer(w.Cut)
		ts.Setenv(fmt.Sprintf("WAY%d", n), w.Addr)
		cuts.Store(w.Addr, w)
	}
}

func cutWay(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: cut WAY")
	}
	w, ok := cuts.Load(args[0])
	if !ok {
		ts.Fatalf("%s is no way", args[0])
	}
	w.(*waytest.Way).Cut()
}
