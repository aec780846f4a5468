package desk

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"witnessmark/client"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// maxUpload is an image file and a form around it.
const maxUpload = 520 << 20

// uploadPath is what the desk puts before an uploaded file's name.
var uploadPath = regexp.MustCompile(`/?up-[0-9]+/`)

// receive keeps what was sent with a form, each file under its own name in a folder of its own, until
// drop is called.
func (f *filling) receive(w http.ResponseWriter) (drop func(), err error) {
	drop = func() {}
	f.Body = http.MaxBytesReader(w, f.Body, maxUpload)
	if err := f.ParseMultipartForm(8 << 20); errors.Is(err, http.ErrNotMultipart) {
		return drop, nil
	} else if err != nil {
		return drop, fmt.Errorf("what was sent did not arrive whole: %w", err)
	}
	var dirs []string
	drop = func() {
		for _, dir := range dirs {
			_ = os.RemoveAll(dir) // Close removes what is left
		}
	}
	for field, sent := range f.MultipartForm.File {
		if sent[0].Filename == "" {
			continue
		}
		dir, err := os.MkdirTemp(f.desk.dir, "up-")
		if err != nil {
			return drop, err
		}
		dirs = append(dirs, dir)
		f.files[field] = filepath.Join(dir, fileName(sent[0].Filename))
		if err := keepFile(f.files[field], sent[0]); err != nil {
			return drop, err
		}
	}
	return drop, nil
}

func keepFile(path string, sent *multipart.FileHeader) error {
	in, err := sent.Open()
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// wrongFile says what a file is that was plainly meant to be another: text or an archive given as an
// image, an image given as text. What it cannot tell passes; whoever reads it says more.
func wrongFile(path, holds string) error {
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	defer in.Close()
	head := make([]byte, 4096)
	n, err := io.ReadFull(in, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	head = head[:n]
	name, isText := filepath.Base(path), !slices.ContainsFunc(head, func(c byte) bool { return c < ' ' && c != '\n' && c != '\r' && c != '\t' })
	switch {
	case holds == "image" && bytes.HasPrefix(head, []byte("PK\x03\x04")):
		return &client.Error{Kind: client.Usage, Text: name + " is an archive, and not an image", Try: "Take the image out of it, and choose that."}
	case holds == "image" && n > 0 && isText && !hexLine.Match(head):
		return &client.Error{Kind: client.Usage, Text: name + " is text, and not an image", Try: "Choose the file that was read out of the controller, or made from it: raw binary, Intel HEX or S-record."}
	case holds == "text" && !isText:
		return &client.Error{Kind: client.Usage, Text: name + " is not text", Try: "Choose a CSV file whose first row names its columns."}
	}
	return nil
}

// hexLine is how the text of an image begins, be it Intel HEX or S-record.
var hexLine = regexp.MustCompile(`^\s*(:|S[0-9])[0-9A-Fa-f]{6}`)

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
	What  string // 7.2, or the read as found
	Dir   string
	Names []string // file, and for a release its proof and bay sheet
	Sheet string
	SHA   string
	Newer []*recordv1.Submission
}

func collected(f *filling) (string, string, error) {
	n := f.number("submission")
	return f.taken(fmt.Sprintf("job-%d.%d", f.job.GetNumber(), n), func(t *takenFiles, out string) error {
		got, err := f.desk.client.Collect(f.Context(), client.Collecting{Job: f.job.GetNumber(), Submission: n, Out: out, Format: f.format(), FreshRead: f.files["fresh"], Frame: f.value("frame")})
		if err != nil {
			return err
		}
		t.What, t.Sheet, t.SHA, t.Newer = client.Name(got.Submission), got.Sheet, got.FileSHA256, got.Newer
		t.Names = append(t.Names, t.Names[0]+".proof.zip", t.Names[0]+".sheet.txt")
		return nil
	})
}

func collectedAsFound(f *filling) (string, string, error) {
	return f.taken(fmt.Sprintf("job-%d-as-found", f.job.GetNumber()), func(t *takenFiles, out string) error {
		got, err := f.desk.client.Collect(f.Context(), client.Collecting{Job: f.job.GetNumber(), AsFound: true, Out: out, Format: f.format()})
		if err != nil {
			return err
		}
		t.What, t.SHA = "the read as found", got.Read.GetImage().GetSha256()
		return nil
	})
}

// taken has a file collected into a folder of its own, from where its page offers it.
func (f *filling) taken(base string, collect func(t *takenFiles, out string) error) (note, to string, err error) {
	format := f.format()
	if format == "" {
		format = image.Format(record.AsFound(f.job).GetImage().GetFileFormat())
	}
	dir, err := os.MkdirTemp(f.desk.dir, "taken-")
	if err != nil {
		return "", "", err
	}
	t := &takenFiles{Job: f.job, Dir: dir, Names: []string{base + "." + image.EndingOf(format)}}
	if err := collect(t, filepath.Join(dir, t.Names[0])); err != nil {
		return "", "", errors.Join(err, os.RemoveAll(dir))
	}
	return "You collected " + t.What + ".", "/taken/" + f.desk.taken.put(t), nil
}

func (d *Desk) takenPage(w http.ResponseWriter, r *http.Request) error {
	t, ok := d.taken.get(r.PathValue("id"))
	if !ok {
		return errAway
	}
	p := d.base(r, fmt.Sprintf("Collected: %s of job %d", t.What, t.Job.GetNumber()))
	d.show(w, p, http.StatusOK, "taken", struct {
		*takenFiles
		At string
	}{t, "/taken/" + r.PathValue("id")})
	return nil
}

// takenFile sends one of the files, or all three in a zip.
func (d *Desk) takenFile(w http.ResponseWriter, r *http.Request) error {
	t, ok := d.taken.get(r.PathValue("id"))
	which := r.PathValue("which")
	switch {
	case !ok:
		return errAway
	case which == "all.zip":
		attach(w, strings.TrimSuffix(t.Names[0], filepath.Ext(t.Names[0]))+"-all.zip")
		return zipped(w, t)
	case !slices.Contains(t.Names, which):
		return errAway
	}
	attach(w, which)
	http.ServeFile(w, r, filepath.Join(t.Dir, which))
	return nil
}

// notedFile sends a file that goes with a note, for its reader to keep and never for the browser to run.
func (d *Desk) notedFile(w http.ResponseWriter, r *http.Request) error {
	j, err := d.jobAt(r)
	if err != nil {
		return err
	}
	for _, n := range j.GetNotes() {
		for _, f := range n.GetFiles() {
			if f.GetSha256() != r.PathValue("sha") {
				continue
			}
			b, err := d.client.NoteFile(r.Context(), f)
			if err != nil {
				return err
			}
			attach(w, fileName(text(f.GetName())))
			_, _ = w.Write(b)
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
