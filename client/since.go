package client

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Since is what changed in a car between what the ledger says was last in it and a read: nil where
// nothing did, and where two definitions could not be compared.
func (c *Client) Since(ctx context.Context, k *recordv1.LastKnown) (*calibrationv1.Report, error) {
	if k.GetReportSha256() == "" {
		return nil, nil
	}
	const what = "report against what was last in the car"
	b, err := c.download(ctx, what, k.ReportSha256)
	if err != nil {
		return nil, err
	}
	r := &calibrationv1.Report{}
	if err := proto.Unmarshal(b, r); err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	return r, nil
}
