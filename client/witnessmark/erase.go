package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// outOfReach is what erasing cannot do.
const outOfReach = "Not reached are older backups and standby servers, and the files and proofs that people took. Hashes of images\n" +
	"stay: whoever has the rest of an image can try frame numbers against one. Reasons and names stay: they were signed."

func newEraseCommand(a *app) *cobra.Command {
	var images bool
	cmd := &cobra.Command{
		Use:   "erase JOB --because TEXT [--images]",
		Short: "Delete what identifies a closed job's car; there is no way back",
		Long:  "Delete what identifies a closed job's car: plate, frame number, notes and file names. There is no way back.\n\n" + outOfReach,
		Args:  takes(1),
	}
	cmd.Flags().BoolVar(&images, "images", false, "its images, runs and the files of its notes too, as far as no other job names them")
	because := a.because(cmd)
	cmd.RunE = a.onJob(func(ctx context.Context, c *client.Client, n uint32) (*recordv1.Job, error) {
		why, err := because()
		if err == nil {
			err = a.confirmed(fmt.Sprintf("%s\nerase what identifies the car of job %d for good?", outOfReach, n))
		}
		if err != nil {
			return nil, err
		}
		return c.Erase(ctx, n, images, why)
	}, func(j *recordv1.Job) string {
		what := "what identifies the car"
		if j.GetImagesErased() {
			what += ", images and runs"
		}
		return fmt.Sprintf("erased of job %d: %s\n%s", j.GetNumber(), what, outOfReach)
	})
	return cmd
}
