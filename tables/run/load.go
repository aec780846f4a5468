package run

import (
	"bytes"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/yamldoc"
)

// NoChannels is the channel file of a run whose own headers say it all.
const NoChannels = "{}\n"

// LoadChannels reads a channel file: YAML of a ChannelMap. No bytes at all are no channels.
func LoadChannels(name string, file []byte) (*calibrationv1.ChannelMap, error) {
	m := &calibrationv1.ChannelMap{}
	if len(file) == 0 {
		return m, nil
	}
	if _, err := yamldoc.Decode(name, file, m); err != nil {
		return nil, err
	}
	return m, nil
}

// Load reads a run and the channel file beside it, both as they are kept. Errors name the file,
// and the place in it.
func Load(name string, file []byte, channelsName string, channels []byte) (*Run, error) {
	m, err := LoadChannels(channelsName, channels)
	if err != nil {
		return nil, err
	}
	if len(m.GetChannels()) == 0 {
		m = nil // the headers are to say it themselves
	}
	return Read(name, bytes.NewReader(file), m)
}
