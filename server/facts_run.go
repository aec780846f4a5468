package server

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/run"
)

// run reads both files of a run: what cannot be read does not enter.
func (f *finder) run(a *recordv1.AddRun) error {
	file, err := f.c.need("run.file_sha256", a.GetFileSha256())
	if err != nil {
		return err
	}
	channels, err := f.c.document("run.channels_sha256", a.GetChannelsSha256())
	if err != nil {
		return err
	}
	if _, err := run.Load("the run", file, "the channel file", channels); err != nil {
		return refused("bad-run", "run.file_sha256", "", "%s", oneLine(err)).because(err)
	}
	f.keep(a.GetFileSha256(), "", file)
	f.keep(a.GetChannelsSha256(), "", channels)
	return nil
}
