package pipeline

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"offtype/pipeline/atomic"
	"offtype/pipeline/photo"
)

// Input is one photo to measure.
type Input struct {
	Path string // where it lies
	Name string // name in the tables: relative to the argument it was found under, unique in a run
}

// ErrNoPhotos is returned when the arguments hold no photo.
var ErrNoPhotos = errors.New("no photos found; name photos or a folder that holds JPEG, PNG, TIFF, WebP or HEIC files")

// FindInputs lists the photos of args in order: files as named, folders walked in name order.
// Hidden files and folders are passed over, and what a run made: its result folder may lie among
// the photos. A file named in args is tried whatever its ending. A name whose stem was taken already
// gets a suffix (-2, -3 …), so that masks can be named alike; control characters and what is not UTF-8 become "_".
// Arguments that cannot be read are returned as problems, and the others are still listed.
func FindInputs(args []string) (ins []Input, problems []error) {
	taken := map[string]bool{}
	add := func(path, name string) {
		name = plainName(filepath.ToSlash(name))
		ext := filepath.Ext(name)
		stem := strings.TrimSuffix(name, ext)
		unique := stem
		for k := 2; taken[strings.ToLower(unique)]; k++ {
			unique = fmt.Sprintf("%s-%d", stem, k)
		}
		taken[strings.ToLower(unique)] = true
		ins = append(ins, Input{Path: path, Name: unique + ext})
	}
	for _, a := range args {
		st, err := os.Stat(a)
		switch {
		case err != nil:
			problems = append(problems, fmt.Errorf("%s: cannot be opened (%v); check the name", a, plainErr(err)))
		case !st.IsDir():
			add(a, filepath.Base(a))
		default:
			found, errs := walk(a)
			problems = append(problems, errs...)
			if len(found) == 0 && len(errs) == 0 {
				problems = append(problems, fmt.Errorf("%s: no photos in this folder; it needs JPEG, PNG, TIFF, WebP or HEIC files", a))
			}
			for _, p := range found {
				rel, err := filepath.Rel(a, p)
				if err != nil {
					rel = filepath.Base(p)
				}
				add(p, rel)
			}
		}
	}
	return ins, problems
}

// plainName makes a name fit for tables in UTF-8 and for one line: old archives hold names in other codings.
func plainName(name string) string {
	return strings.Map(func(r rune) rune {
		if r == utf8.RuneError || unicode.IsControl(r) {
			return '_'
		}
		return r
	}, name)
}

// listOf is a fingerprint of the names of photos and their order.
func listOf(ins []Input) string {
	var b strings.Builder
	for _, in := range ins {
		b.WriteString(in.Name + "\n")
	}
	return hash([]byte(b.String()))
}

// walk lists the photos under dir. The folder itself may be a link, links to folders below it are not followed: they can
// lead in a circle.
func walk(dir string) (found []string, problems []error) {
	dir += string(filepath.Separator) // a link's own name would be taken for a file
	_ = filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			problems = append(problems, fmt.Errorf("%s: cannot be read (%v); check its permissions", plainName(p), plainErr(err)))
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if p != dir && strings.HasPrefix(d.Name(), ".") {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		if d.IsDir() && p != dir && isOwn(p) {
			return fs.SkipDir
		}
		if !d.IsDir() && photo.IsPhotoName(p) {
			found = append(found, p)
		}
		return nil
	})
	sort.Strings(found)
	return found, problems
}

// isOwn says whether dir is a folder of pictures that a run made: the stored results or the masks beside them. A result
// folder may lie among the photos, or be theirs.
func isOwn(dir string) bool {
	out := filepath.Dir(dir)
	if base := filepath.Base(dir); base != "masks" && base != "parts" {
		return false
	}
	if _, err := os.Stat(manifestPath(out)); err == nil {
		return true
	}
	stored, err := filepath.Glob(partPath(out, strings.Repeat("[0-9a-f]", keyLength), ".json")) // a run that was killed
	return err == nil && len(stored) > 0
}

// plainErr drops the path that os errors repeat.
func plainErr(err error) error { return atomic.Plain(err) }
