package main

import (
	"archive/zip"
	"bytes"
	"cmp"
	"fmt"
	"io"
	"os"

	"witnessmark/client"
)

const demoMeant = "boost.target,wastegate.duty,lambda.target,ignition.base,ignition.98"

// people enrols one person a role; each has a key and a folder of their own.
func people(s *stageSet) {
	s.say("1. The lead logs in and enrols one person a role. Keys never leave their owners.")
	for _, person := range []string{"technician", "calibrator"} {
		if _, err := client.NewKey(s.path(person+".key"), "", nil); err != nil {
			s.err = err
			return
		}
	}
	s.as("lead", 0, "login", s.addr, "--key", s.path("lead.key"), "--fingerprint", s.print)
	s.as("lead", 0, "person", "enrol", "technician", "--role", "technician", "--key", s.path("technician.key.pub"))
	s.as("lead", 0, "person", "enrol", "calibrator", "--role", "calibrator", "--key", s.path("calibrator.key.pub"))
	s.as("technician", 0, "login", s.addr, "--key", s.path("technician.key"), "--fingerprint", s.print)
	s.as("calibrator", 0, "login", s.addr, "--key", s.path("calibrator.key"), "--fingerprint", s.print)
	s.as("lead", 0, "definition", "add", s.path("dx1-1.8t.yaml"))
	s.as("lead", 0, "limits", "add", s.path("dx1-road-98.yaml"))
}

// firstAttempt is a submission that nobody may sign.
func firstAttempt(s *stageSet) {
	s.say("2. The technician opens the job and adds what was read out of the car.")
	s.as("technician", 0, "job", "open", "--car", "HC 18", "--definition", "dx1-1.8t", "--limits", "dx1-road-98",
		"--fuel", "98 RON", "--part", "larger compressor wheel", "--part", "larger intercooler")
	s.as("technician", 0, "read", "add", "1", s.path("original.hex"))
	s.say("3. The calibrator submits a first map. One boost cell was typed ten times too high, and the advance goes\n" +
		"beyond what the limits allow on this fuel.")
	s.as("calibrator", 0, "submit", "1", s.path("submission-1.bin"), "--note", "boost and advance for the larger wheel", "--meant", demoMeant)
	s.as("calibrator", 2, "sign", "1.1")
	s.brief("lead", "Changed tables", "sheet", "1.1")
	s.as("lead", 2, "sign", "1.1")
	s.as("lead", 0, "return", "1.1", "--because", "one boost cell is a slip, and the advance at 5000 is too much for 98 RON")
}

// secondAttempt carries one warning, and is signed with a reason for it.
func secondAttempt(s *stageSet) {
	s.say("4. The second map has one warning left. The lead signs it, and says why.")
	s.as("calibrator", 0, "submit", "1", s.path("submission-2.bin"), "--note", "boost cell corrected, advance taken back", "--meant", demoMeant)
	s.as("calibrator", 2, "sign", "1.2", "--because", "advance-ceiling:ignition.98=I think it is fine")
	s.as("lead", 0, "sheet", "1.2")
	s.as("lead", 2, "sign", "1.2")
	s.as("lead", 0, "sign", "1.2", "--because", "advance-ceiling:ignition.98=a quarter of a degree at one point; knock watched there on the rolling road")
}

// bay collects, writes (here: somewhere else) and reads back.
func bay(s *stageSet) {
	s.say("5. The technician takes the released file to the bay. The definition has fields that belong to one car, so\n" +
		"a fresh read must show that it is the right one.")
	s.as("technician", 2, "collect", "1", "--out", s.path("release.hex"))
	s.as("technician", 0, "collect", "1", "--out", s.path("release.hex"), "--fresh-read", s.path("original.hex"))
	s.show("release.hex.sheet.txt")
	s.say("6. The controller is written with the shop's own tool, and read again. What it has learned since, and the\n" +
		"checksum that the tool restamps, may differ; nothing else.")
	s.as("technician", 0, "readback", "1", s.path("readback.bin"))
	s.as("technician", 0, "job", "show", "1")
	s.as("technician", 0, "verify", s.path("release.hex.bundle.zip"))
}

// show prints a file.
func (s *stageSet) show(name string) {
	if s.err != nil {
		return
	}
	b, err := os.ReadFile(s.path(name))
	if err != nil {
		s.err = err
		return
	}
	fmt.Fprintf(s.a.out, "\n--- %s\n%s---\n", name, b)
}

// tamperedBundle changes one cell of the released image, checksums of the zip and all.
func tamperedBundle(s *stageSet) {
	s.say("7. Somebody changes one byte of the image in the bundle, neatly, with every checksum of the zip made right.")
	b, err := os.ReadFile(s.path("release.hex.bundle.zip"))
	if err == nil {
		b, err = tamper(b)
	}
	if err == nil {
		err = os.WriteFile(s.path("tampered.bundle.zip"), b, 0o644)
	}
	if err != nil {
		s.err = err
		return
	}
	s.as("technician", 1, "verify", s.path("tampered.bundle.zip"))
}

func tamper(bundle []byte) ([]byte, error) {
	in, err := zip.NewReader(bytes.NewReader(bundle), int64(len(bundle)))
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			return nil, err
		}
		content, err := io.ReadAll(r)
		if err != nil {
			return nil, err
		}
		if f.Name == "image.bin" {
			content[0x10200]++
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: f.Name, Method: f.Method, Modified: f.Modified})
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(content); err != nil {
			return nil, err
		}
	}
	err = z.Close()
	return out.Bytes(), err
}

// lyingServer plays a server that was taken over, with its genuine key.
func lyingServer(s *stageSet) {
	s.say("8. Somebody takes the server over, key and all, and puts a technician's client on it. First it hands out\n" +
		"other bytes for the released image, then a ledger from before the sign-off.")
	released, err := os.ReadFile(s.path("submission-2.bin"))
	if err != nil {
		s.err = err
		return
	}
	l, err := s.startLiar(client.HashHex(released))
	if err != nil {
		s.err = err
		return
	}
	defer l.stop()
	s.as("technician", 1, "collect", "1", "--out", s.path("lied.hex"), "--fresh-read", s.path("original.hex"))
	l.older(true)
	s.as("technician", 1, "collect", "1", "--out", s.path("lied.hex"), "--fresh-read", s.path("original.hex"))
	if s.err == nil && client.FileExists(s.path("lied.hex")) {
		s.err = fmt.Errorf("demo: a file was written that should not have been")
	}
	s.say("No file was written. The technician goes back to the genuine server.")
	s.err = cmp.Or(s.err, s.point(s.addr))
}
