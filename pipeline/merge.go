package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"time"

	"offtype/pipeline/atomic"
	"offtype/pipeline/record"
)

// manifest lists what a run or a shard of it did, in OUT/parts/run.json. Failed photos and copies
// have no stored result: their rows are kept here.
type manifest struct {
	Program   string
	Settings  string
	SameTable bool
	ShardI    int
	ShardN    int
	Stopped   bool
	Measured  Measuring // how; of a share, for the book of whoever puts the shares together
	Parts     []*Part   // slim
	List      string    `json:",omitempty"` // of a share: fingerprint of the names of all photos of the harvest
}

// mostPart and mostManifest bound what a share that comes from elsewhere may hold, in bytes: a stored result with its
// preview takes 1 MB, the list of a thousand photos 10 MB.
const (
	mostPart     = 256 << 20
	mostManifest = 1 << 30
)

func manifestPath(out string) string { return filepath.Join(out, "parts", "run.json") }

func writeManifest(res *Result, o *Options, settings string) error {
	m := manifest{Program: o.Program, Settings: settings, SameTable: o.SameTable, ShardI: o.ShardI, ShardN: o.ShardN, Stopped: res.Stopped, Measured: res.How, Parts: res.Parts, List: res.list}
	b, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("store the list of photos: %w", err)
	}
	return atomic.WriteBytes(manifestPath(o.Out), b)
}

func readManifest(dir string) (*manifest, error) {
	b, err := atomic.Read(manifestPath(dir), mostManifest)
	if err != nil {
		return nil, fmt.Errorf("%s: not the folder of a finished run (%w); run that share again", dir, plainErr(err))
	}
	var m manifest
	if err := json.Unmarshal(b, &m); err != nil {
		return nil, fmt.Errorf("%s: the list of photos is damaged (%w); run that share again", dir, err)
	}
	if err := m.check(); err != nil {
		return nil, fmt.Errorf("%s: the list of photos is damaged (%w); run that share again", dir, err)
	}
	return &m, nil
}

// keyPattern is what the names of stored results look like, see partKey.
var keyPattern = regexp.MustCompile(`^[0-9a-f]{1,64}$`)

// check refuses names that would lead out of the result folder: a share may come from elsewhere.
func (m *manifest) check() error {
	for _, p := range m.Parts {
		switch {
		case p == nil:
			return errors.New("an empty entry")
		case !filepath.IsLocal(filepath.FromSlash(p.Photo.Name)):
			return fmt.Errorf("%q is not the name of a photo", p.Photo.Name)
		case p.Key != "" && !keyPattern.MatchString(p.Key):
			return fmt.Errorf("%q is not the name of a stored result", p.Key)
		}
	}
	return nil
}

// Merge puts the shares of one harvest, measured with ShardI/ShardN on one or many machines, into
// o.Out as if one machine had measured all of it. dirs may come in any order; a share that is
// missing or was stopped is an error, since the result would be silently incomplete. When ctx ends, nothing but
// stored results of photos was written.
func Merge(ctx context.Context, dirs []string, o Options) (*Result, error) {
	start := time.Now()
	variety, err := loadVariety(&o)
	if err != nil {
		return nil, err
	}
	res := &Result{Out: o.Out}
	seen := map[int]string{}
	var first *manifest
	for _, d := range dirs {
		if sameFolder(d, o.Out) {
			return nil, usageError{fmt.Errorf("--out %s: this is the folder of a share, which would be lost as one; name another folder", o.Out)}
		}
		m, err := readManifest(d)
		if err != nil {
			return nil, err
		}
		if err := fits(first, m, d, seen); err != nil {
			return nil, err
		}
		if first == nil {
			first = m
		}
		seen[m.ShardI] = d
		for _, p := range m.Parts {
			if ctx.Err() != nil {
				return nil, ctx.Err()
			}
			if err := copyPart(d, o.Out, p); err != nil {
				return nil, err
			}
			res.Parts = append(res.Parts, p)
		}
	}
	if first == nil {
		return nil, errors.New("no folders to merge; name the result folder of each share")
	}
	for i := 1; i <= first.ShardN; i++ {
		if seen[i] == "" {
			return nil, fmt.Errorf("share %d of %d is missing; run it, then merge again", i, first.ShardN)
		}
	}
	sort.SliceStable(res.Parts, func(i, j int) bool { return res.Parts[i].Index < res.Parts[j].Index })
	for _, p := range res.Parts {
		if p.Photo.Status == record.StatusFailed {
			res.Failed++
		}
	}
	o.SameTable, o.Program, o.ShardI, o.ShardN = first.SameTable, first.Program, 0, 0
	res.How, res.How.SameTable = first.Measured, first.SameTable
	if err := writeManifest(res, &o, first.Settings); err != nil { // the folder is that of a whole run from now on
		return nil, err
	}
	if o.SameTable {
		if err := sameTable(res, &o, ownFolder); err != nil {
			return nil, err
		}
	}
	res.Run = collect(res.Parts, &o, first.Settings)
	err = finish(res, &o, variety)
	res.Took = time.Since(start)
	return res, err
}

// sameFolder reports whether two names lead to one folder.
func sameFolder(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}

// fits reports why a share cannot be put together with the first.
func fits(first, m *manifest, dir string, seen map[int]string) error {
	switch {
	case m.Stopped:
		return fmt.Errorf("%s: this share was stopped before it was done; run it again, then merge", dir)
	case first == nil:
		return nil
	case m.Program != first.Program:
		return fmt.Errorf("%s: measured with version %s, the others with %s; measure all shares with one version", dir, m.Program, first.Program)
	case m.Settings != first.Settings || m.SameTable != first.SameTable:
		return fmt.Errorf("%s: measured with other settings than the others; measure all shares with the same options", dir)
	case m.ShardN != first.ShardN:
		return fmt.Errorf("%s: share %d of %d, the others are of %d; use the same N for all", dir, m.ShardI, m.ShardN, first.ShardN)
	case m.List != first.List:
		return fmt.Errorf("%s: measured from another list of photos than the others; give every share the same photos", dir)
	case seen[m.ShardI] != "":
		return fmt.Errorf("%s: share %d is also in %s; name each share once", dir, m.ShardI, seen[m.ShardI])
	}
	return nil
}

// copyPart brings a stored result into another result folder.
func copyPart(from, to string, p *Part) error {
	if p.Key == "" {
		return nil
	}
	for _, ending := range []string{".jpg", ".json"} {
		b, err := atomic.Read(partPath(from, p.Key, ending), mostPart)
		if err != nil {
			return fmt.Errorf("%s: the stored result of photo %q is gone (%w); run that share again", from, p.Photo.Name, plainErr(err))
		}
		if err := atomic.WriteBytes(partPath(to, p.Key, ending), b); err != nil {
			return err
		}
	}
	return nil
}
