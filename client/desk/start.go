package desk

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"strconv"

	"witnessmark/client/workshop"
	"witnessmark/store/signoff"
)

// starts are the fields of somebody who starts a workshop.
func (w *welcome) starts() []field {
	_, port, _ := net.SplitHostPort(workshop.HereAlone)
	fields := append([]field{{Kind: "line", Name: "name", Label: "Your name", Hint: "It stands under all that you sign, for ever.", Must: true}}, ownKey(w.Home)...)
	return append(fields,
		field{Kind: "pick", Name: "people", Label: "Who works here", Options: [][2]string{{"several", "several people: nobody signs off what they submitted themselves"}, {"one", "one person, who signs their own"}}, Hint: "This is settled for good."},
		field{Kind: "pick", Name: "listen", Label: "Who reaches the server", Options: [][2]string{{"network", "the machines of this network too"}, {"here", "this machine alone"}}, Hint: "Whoever reaches it is let in by their key alone."},
		field{Kind: "line", Name: "port", Label: "Port", Value: port, Seldom: true},
		field{Kind: "line", Name: "address", Label: "How other machines reach this one", Hint: "HOST:PORT. Left empty, it is found out.", Seldom: true},
		field{Kind: "line", Name: "folder", Label: "Folder of the ledger", Value: workshop.DefaultFolder(w.Home), Hint: "It is made, or is empty. All that the workshop keeps is in it; back it up.", Seldom: true})
}

const startTitle = "Start a workshop here"

// start is the form of somebody who starts a workshop; filled in, the workshop runs and the desk is theirs.
func (w *welcome) start(out http.ResponseWriter, r *http.Request) error {
	if w.joining != nil {
		return home(out, r)
	}
	a := w.desk.asks(r, w.starts()...)
	if r.Method == http.MethodPost && w.started(a) {
		return home(out, r)
	}
	a.show(out, startTitle, "start")
	return nil
}

func (w *welcome) started(a *asked) bool {
	a.must()
	a.wrong("name", signoff.CheckName(a.value("name")))
	key := w.keyOf(a)
	host, _, _ := net.SplitHostPort(workshop.HereAlone)
	if a.value("listen") == "network" {
		host = ""
	}
	if n, err := strconv.ParseUint(a.value("port"), 10, 16); err != nil || n == 0 {
		a.wrong("port", fmt.Errorf("%.20q is no port; allowed: 1 to 65535", a.value("port")))
	}
	if !filepath.IsAbs(a.value("folder")) {
		a.wrong("folder", fmt.Errorf("%.200q is no whole path, from / on", a.value("folder")))
	}
	if a.bad != nil {
		return false
	}
	s, err := workshop.Start(w.life, workshop.Options{Home: w.Home, Folder: a.value("folder"), Lead: a.value("name"), Key: key,
		OnePerson: a.value("people") == "one", Listen: net.JoinHostPort(host, a.value("port")), Address: a.value("address"), Say: w.desk.Says})
	if err == nil {
		err = errors.Join(w.desk.hasRun(s.Daemon), w.opens(s.Client))
	}
	if err != nil {
		a.beside(err, "key", "folder", "port", "address")
	}
	return err == nil
}
