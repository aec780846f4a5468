package main

import (
	"archive/zip"
	"bytes"
	"cmp"
	"errors"
	"io"
	"os"
	"path/filepath"

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
	s.as("technician", 0, "read", "add", "1", s.path("asfound.hex"))
	s.as("technician", 0, "run", "add", "1", s.path("before.csv"), "--when", "before")
	s.say("3. The calibrator takes a working copy to the bench, and submits a first map. One boost cell was typed ten times too high, and the advance goes\n" +
		"beyond what the limits allow on this fuel.")
	s.as("calibrator", 0, "get", "1", "--out", s.path("bench.bin"))
	s.as("calibrator", 1, "submit", "1", s.path("submission-1.bin"), "--note", "boost and advance for the larger wheel", "--meant", demoMeant)
	s.as("calibrator", 2, "sign", "1.1")
	s.brief("lead", 0, "Changed tables", "sheet", "1.1")
	s.as("lead", 2, "sign", "1.1")
	s.as("lead", 0, "return", "1.1", "--because", "one boost cell is a slip, and the advance at 5000 is too much for 98 RON")
}

// secondAttempt carries one warning, and is signed with a reason for it.
func secondAttempt(s *stageSet) {
	s.say("4. The second map has one warning left. The lead signs it, and says why.")
	s.as("calibrator", 0, "submit", "1", s.path("submission-2.bin"), "--note", "boost cell corrected, advance taken back", "--from", "1.1", "--meant", demoMeant)
	s.as("calibrator", 2, "sign", "1.2", "--because", "advance-ceiling:ignition.98=I think it is fine")
	s.as("lead", 0, "sheet", "1.2")
	s.as("lead", 2, "sign", "1.2")
	s.taken()
	s.as("lead", 0, "sign", "1.2", "--because", "advance-ceiling:ignition.98=half a degree at one point; knock watched there on the rolling road")
}

// taken has somebody listen in from now on, who has the server's key.
func (s *stageSet) taken() {
	released, err := os.ReadFile(s.path("submission-2.bin"))
	if err == nil && s.err == nil {
		s.liar, err = newLiar(s.ctx, s.addr, filepath.Join(s.path("server"), "server.key"), s.path("technician.key"), client.HashHex(released))
	}
	if s.err = cmp.Or(s.err, err); s.err == nil {
		s.err = s.liar.serve(s.liar)
	}
}

// lyingServer plays a server that was taken over, with its genuine key.
func lyingServer(s *stageSet) {
	s.say("5. Somebody takes the server over, key and all, and puts the technician's client on it. It keeps back what\n" +
		"the lead writes, then hands out other bytes for the released image, then a ledger from before the sign-off.")
	if s.err != nil {
		return
	}
	s.err = point(s.path("technician"), s.liar.addr)
	collect := []string{"collect", "1", "--out", s.path("release.hex"), "--fresh-read", s.path("asfound.hex")}
	s.as("lead", 0, "note", "1", "call me before it is loaded the first time")
	s.as("technician", 1, "job", "show", "1")
	s.liar.lie.Store(int32(alter))
	s.as("technician", 1, collect...)
	s.liar.lie.Store(int32(rollBack))
	s.as("technician", 1, collect...)
	if s.err == nil && client.FileExists(s.path("release.hex")) {
		s.err = errors.New("demo: a file was written that should not have been")
	}
	s.say("No file was written. The technician goes back to the genuine server.")
	s.err = cmp.Or(s.err, point(s.path("technician"), s.addr))
}

// bay collects, writes (here: somewhere else) and reads back.
func bay(s *stageSet) {
	s.say("6. The technician takes the released file to the bay. The definition has fields that belong to one car, so\n" +
		"a fresh read must show that it is the right one.")
	s.as("technician", 2, "collect", "1", "--out", s.path("release.hex"))
	s.as("technician", 0, "collect", "1", "--out", s.path("release.hex"), "--fresh-read", s.path("asfound.hex"))
	s.show("release.hex.sheet.txt")
	s.say("7. The controller is written with the shop's own tool, and read again. The first file read is the wrong one,\n" +
		"and everybody is told. What the controller has learned since, and the checksum that the tool restamps, may\n" +
		"differ from what was written; nothing else.")
	s.brief("technician", 1, "Findings", "readback", "1", s.path("submission-1.bin"))
	s.as("technician", 0, "readback", "1", s.path("readback.bin"))
	s.as("technician", 0, "run", "add", "1", s.path("after.csv"), "--when", "after")
	s.brief("technician", 0, "Per engine speed", "outcome", "1")
	s.as("technician", 0, "job", "show", "1")
	s.as("technician", 0, "verify", s.path("release.hex.proof.zip"))
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
	s.tell(map[string]any{"file": name, "holds": string(b)}, "\n--- %s\n%s---\n", name, b)
}

// tamperedProof changes one cell of the released image, checksums of the zip and all.
func tamperedProof(s *stageSet) {
	s.say("8. Somebody changes one byte of the image in the proof, neatly, with every checksum of the zip made right.")
	b, err := os.ReadFile(s.path("release.hex.proof.zip"))
	if err == nil {
		b, err = tamper(b)
	}
	if err == nil {
		err = os.WriteFile(s.path("tampered.proof.zip"), b, 0o644)
	}
	if err != nil {
		s.err = err
		return
	}
	s.as("technician", 1, "verify", s.path("tampered.proof.zip"))
}

func tamper(proof []byte) ([]byte, error) {
	in, err := zip.NewReader(bytes.NewReader(proof), int64(len(proof)))
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

// correction puts a plate right that was typed wrong.
func correction(s *stageSet) {
	s.say("9. The plate was typed wrong all the time. Who corrected it stays in the ledger.")
	s.as("technician", 0, "job", "amend", "1", "--car", "HC 81")
	s.as("technician", 0, "job", "close", "1", "--as", "done")
	s.as("lead", 0, "history", "hc81")
}

// forgotten erases what tells whose car it was.
func forgotten(s *stageSet) {
	s.say("10. Another car was only booked in. Its owner asks to be forgotten; the ledger stays whole.")
	s.as("technician", 0, "job", "open", "--car", "HC 20", "--frame", "WTM-2-0042", "--definition", "dx1-1.8t", "--limits", "dx1-road-98",
		"--fuel", "98 RON", "--note", "the red one, from the valley")
	s.as("technician", 0, "job", "close", "2", "--as", "cancelled", "--because", "it never came")
	s.as("lead", 0, "erase", "2", "--images", "--because", "the owner asked for it")
	s.as("technician", 0, "job", "show", "2")
	s.as("technician", 2, "history", "HC 20")
	s.as("lead", 0, "ledger", "verify", "--deep")
}
