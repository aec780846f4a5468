package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// forMachine are the settings of the machine's unit that a person's unit does without.
var forMachine = strings.Fields(`Documentation After Wants ExecStart User StateDirectory StateDirectoryMode ProtectSystem ProtectHome PrivateTmp PrivateDevices
	PrivateUsers ProtectClock ProtectHostname ProtectKernelLogs ProtectKernelModules ProtectKernelTunables ProtectControlGroups ProtectProc RemoveIPC
	CapabilityBoundingSet AmbientCapabilities WantedBy`)

// Whoever adds a setting to the machine's unit says here or beside forPerson whether a person's has it.
func TestEverySettingIsForSomebody(t *testing.T) {
	for line := range strings.Lines(systemUnit) {
		name, _, setting := strings.Cut(line, "=")
		if setting && !strings.HasPrefix(line, "#") && slices.Contains(forPerson, name) == slices.Contains(forMachine, name) {
			t.Errorf("%s is for both or for nobody", name)
		}
	}
}

// A person's unit is one that systemd has no word against, and that has its words as they were given.
func TestPersonalUnit(t *testing.T) {
	dir := filepath.Join(t.TempDir(), `a "folder" of 100% \ $HOME`)
	var out, errs bytes.Buffer
	if status := run([]string{"unit", "--data", dir, "--listen", "127.0.0.1:7017"}, &out, &errs); status != 0 {
		t.Fatalf("status %d: %s", status, errs.String())
	}
	text := out.String()
	for _, want := range []string{"\nNoNewPrivileges=yes\n", "\nRestart=on-failure\n", "\nWantedBy=default.target\n", "[Unit]\n", "\n\n[Service]\n", "\n\n[Install]\n", "\nSystemCallFilter=@system-service\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("it lacks %q", want)
		}
	}
	for _, never := range []string{"User=", "ProtectHome", "/var/lib", "/usr/local", "multi-user", "#"} {
		if strings.Contains(text, never) {
			t.Errorf("it has %q", never)
		}
	}
	if status := run([]string{"unit", "--data", "a\nb", "--listen", ":1"}, &out, &errs); status != 2 || !strings.Contains(errs.String(), "cannot stand in a unit") {
		t.Errorf("status %d: %s", status, errs.String())
	}
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		const how = "systemd-analyze is not here: apt-get install systemd"
		if os.Getenv("CI") != "" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	file := filepath.Join(t.TempDir(), "witnessmarkd.service")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(analyze, "verify", "--user", "--man=no", file)
	cmd.Env = append(os.Environ(), "SYSTEMD_UNIT_PATH="+filepath.Dir(file)+":", "XDG_RUNTIME_DIR="+t.TempDir())
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
}
