package desk

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/image"
)

// maxUpload is an image file and a form around it.
const maxUpload = 520 << 20

// uploadPath is what the desk puts before an uploaded file's name.
var uploadPath = regexp.MustCompile(`/?up-[0-9]+/`)

// saveFile keeps an uploaded file under its own name in a folder of its own. The path is empty
// where none was chosen.
func (d *Desk) saveFile(w http.ResponseWriter, r *http.Request, field string) (path string, drop func(), err error) {
	drop = func() {}
	if r.MultipartForm == nil {
		r.Body = http.MaxBytesReader(w, r.Body, maxUpload)
		if err := r.ParseMultipartForm(8 << 20); err != nil {
			return "", drop, fmt.Errorf("the file did not arrive whole: %w", err)
		}
	}
	in, head, err := r.FormFile(field)
	if errors.Is(err, http.ErrMissingFile) || err == nil && head.Filename == "" {
		return "", drop, nil
	}
	if err != nil {
		return "", drop, err
	}
	defer in.Close()
	dir, err := os.MkdirTemp(d.dir, "up-")
	if err != nil {
		return "", drop, err
	}
	drop = func() { _ = os.RemoveAll(dir) }
	path = filepath.Join(dir, fileName(head.Filename))
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", drop, err
	}
	_, err = io.Copy(out, in)
	return path, drop, errors.Join(err, out.Close())
}

// fileName keeps of a name what every system can have as a file's name.
func fileName(s string) string {
	s = strings.Map(func(c rune) rune {
		if c == '.' || c == '-' || c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' {
			return c
		}
		return '_'
	}, filepath.Base(strings.ReplaceAll(s, `\`, "/")))
	s = strings.TrimLeft(s, ".")
	if len(s) > 80 {
		s = s[len(s)-80:]
	}
	if s == "" {
		return "image"
	}
	return s
}

// takenFiles is what was collected, until the desk ends.
type takenFiles struct {
	Job   *recordv1.Job
	What  string // 7.2, or the original
	Dir   string
	Names []string // file, and for a release bundle and bay sheet
	Sheet string
	SHA   string
	Newer *recordv1.Submission
}

func extension(f image.Format) string {
	switch f {
	case "ihex":
		return ".hex"
	case "srec":
		return ".s19"
	}
	return ".bin"
}

func (d *Desk) collectForm(w http.ResponseWriter, r *http.Request) error {
	b, err := d.jobForm(r, "collect")
	if err != nil {
		return err
	}
	return d.showCollect(w, r, b, nil)
}

func (d *Desk) showCollect(w http.ResponseWriter, r *http.Request, b formBody, problem error) error {
	if b.Not == "" {
		rev, err := d.reviews.get(r.Context(), b.Job.Number, b.Job.Release)
		if err != nil {
			return err
		}
		b.Vehicle, b.Name = rev.HasVehicleField(), client.Name(rev.Submission)
	}
	d.form(w, r, "collect", fmt.Sprintf("Collect the release of job %d", b.Job.Number), b, problem)
	return nil
}

func (d *Desk) collect(w http.ResponseWriter, r *http.Request) error {
	b, err := d.jobForm(r, "collect")
	if err != nil {
		return err
	}
	fresh, drop, err := d.saveFile(w, r, "fresh")
	defer drop()
	var id string
	if err == nil {
		id, err = d.collected(r, b.Job, fresh)
	}
	if err != nil {
		return d.showCollect(w, r, b, err)
	}
	http.Redirect(w, r, "/taken/"+id, http.StatusSeeOther)
	return nil
}

func (d *Desk) collected(r *http.Request, j *recordv1.Job, fresh string) (string, error) {
	format, err := formatOf(r)
	if err != nil {
		return "", err
	}
	if err := d.confirmed(r, fmt.Sprintf("collect %s for %s", ofJob(j.Number, j.Release), j.Car)); err != nil {
		return "", err
	}
	t, out, err := d.place(j, format, fmt.Sprintf("job-%d.%d", j.Number, j.Release))
	if err != nil {
		return "", err
	}
	got, err := d.client.Collect(r.Context(), client.Collecting{Job: j.Number, Out: out, Format: format, FreshRead: fresh, Frame: strings.TrimSpace(r.FormValue("frame"))})
	if err != nil {
		return "", errors.Join(err, os.RemoveAll(t.Dir))
	}
	t.What, t.Sheet, t.SHA, t.Newer = client.Name(got.Submission), got.Sheet, got.FileSHA256, got.Newer
	t.Names = append(t.Names, t.Names[0]+".bundle.zip", t.Names[0]+".sheet.txt")
	return d.taken.put(t), nil
}

// place makes a folder for what is collected.
func (d *Desk) place(j *recordv1.Job, format image.Format, base string) (*takenFiles, string, error) {
	if format == "" && len(j.Reads) > 0 {
		format = image.Format(j.Reads[0].Image.GetFileFormat())
	}
	dir, err := os.MkdirTemp(d.dir, "taken-")
	t := &takenFiles{Job: j, Dir: dir, Names: []string{base + extension(format)}}
	return t, filepath.Join(dir, t.Names[0]), err
}

func (d *Desk) originalForm(w http.ResponseWriter, r *http.Request) error {
	b, err := d.jobForm(r, "original")
	if err != nil {
		return err
	}
	d.form(w, r, "original", fmt.Sprintf("Collect the original of job %d", b.Job.Number), b, nil)
	return nil
}

func (d *Desk) original(w http.ResponseWriter, r *http.Request) error {
	b, err := d.jobForm(r, "original")
	if err != nil {
		return err
	}
	id, err := d.originalTaken(r, b.Job)
	if err != nil {
		d.form(w, r, "original", fmt.Sprintf("Collect the original of job %d", b.Job.Number), b, err)
		return nil
	}
	http.Redirect(w, r, "/taken/"+id, http.StatusSeeOther)
	return nil
}

func (d *Desk) originalTaken(r *http.Request, j *recordv1.Job) (string, error) {
	format, err := formatOf(r)
	if err != nil {
		return "", err
	}
	if err := d.confirmed(r, fmt.Sprintf("collect the original of job %d, %s", j.Number, j.Car)); err != nil {
		return "", err
	}
	t, out, err := d.place(j, format, fmt.Sprintf("job-%d-original", j.Number))
	if err != nil {
		return "", err
	}
	read, err := d.client.Original(r.Context(), j.Number, out, format)
	if err != nil {
		return "", errors.Join(err, os.RemoveAll(t.Dir))
	}
	t.What, t.SHA = "the original", read.Image.GetSha256()
	return d.taken.put(t), nil
}

func (d *Desk) takenPage(w http.ResponseWriter, r *http.Request) error {
	t, ok := d.taken.get(r.PathValue("id"))
	if !ok {
		return errAway
	}
	p := d.base(r, fmt.Sprintf("Collected: %s of job %d", t.What, t.Job.Number))
	d.show(w, r, http.StatusOK, "taken", p, struct {
		*takenFiles
		At string
	}{t, "/taken/" + r.PathValue("id")})
	return nil
}

// takenFile sends one of the files, or all three in a zip.
func (d *Desk) takenFile(w http.ResponseWriter, r *http.Request) error {
	t, ok := d.taken.get(r.PathValue("id"))
	if !ok {
		return errAway
	}
	which := r.PathValue("which")
	if which == "all.zip" {
		attach(w, strings.TrimSuffix(t.Names[0], filepath.Ext(t.Names[0]))+"-all.zip")
		return zipped(w, t)
	}
	for _, name := range t.Names {
		if name == which {
			attach(w, name)
			http.ServeFile(w, r, filepath.Join(t.Dir, name))
			return nil
		}
	}
	return errAway
}

func attach(w http.ResponseWriter, name string) {
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

func zipped(w io.Writer, t *takenFiles) error {
	z := zip.NewWriter(w)
	for _, name := range t.Names {
		b, err := os.ReadFile(filepath.Join(t.Dir, name))
		if err != nil {
			return err
		}
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
		if err != nil {
			return err
		}
		if _, err := f.Write(b); err != nil {
			return err
		}
	}
	return z.Close()
}
