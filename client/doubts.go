package client

import (
	"context"
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/definition"
	"witnessmark/tables/doubt"
	"witnessmark/tables/severity"
)

// Doubts is DoubtsOf of a file.
func (c *Client) Doubts(ctx context.Context, kind, path string) ([]doubt.Doubt, error) {
	file, err := ReadBounded(path, MaxDocument)
	if err != nil {
		return nil, err
	}
	return c.DoubtsOf(ctx, kind, path, file)
}

// DoubtsOf is all that is wrong or doubtful in a document, which errors call path: of limits, for each definition
// that they name and that is here.
func (c *Client) DoubtsOf(ctx context.Context, kind, path string, file []byte) ([]doubt.Doubt, error) {
	if kind == Definitions {
		lay, all := doubt.OfDefinition(path, file)
		if doubt.Worst(all) != severity.Danger {
			c.claims.Keep(lay, len(file))
		}
		return all, nil
	}
	lim, err := c.claims.Limits(path, HashHex(file), func() ([]byte, error) { return file, nil })
	if err != nil {
		return doubt.OfLimits(path, file, nil), nil
	}
	var all []doubt.Doubt
	for _, name := range lim.Source.GetAppliesTo() {
		lay, err := c.newestLayout(ctx, name)
		if err != nil {
			return nil, err
		}
		if lay == nil {
			continue // the rules say so
		}
		for _, d := range doubt.OfLimits(path, file, lay) {
			if !slices.Contains(all, d) {
				all = append(all, d)
			}
		}
	}
	return doubt.InOrder(all), nil
}

// DoubtsRead is what looks wrong when an image file is read by a definition that has no fault.
func (c *Client) DoubtsRead(path string, file []byte, imagePath string) ([]doubt.Doubt, error) {
	lay, err := c.claims.Definition(path, HashHex(file), func() ([]byte, error) { return file, nil })
	if err != nil {
		return nil, err
	}
	im, err := ReadFile(imagePath, "", lay)
	if err != nil {
		return nil, err
	}
	return doubt.OfImage(path, file, lay, im)
}

// newestLayout compiles the newest revision of a definition; nil where there is none.
func (c *Client) newestLayout(ctx context.Context, name string) (*definition.Layout, error) {
	f, err := look(c, func(s *record.State) (*recordv1.CatalogFile, error) {
		f, _ := s.Newest(Definitions, name)
		return f, nil
	})
	if err != nil || f.GetSha256() == "" {
		return nil, err
	}
	lay, err := c.claims.Layout(source{c: c, ctx: ctx}, &recordv1.Revision{Name: name, Sha256: f.GetSha256()})
	return lay, refusal(err)
}
