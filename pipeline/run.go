package pipeline

import (
	"context"
	"errors"
	"strconv"
	"sync"
	"time"

	"offtype/pipeline/card"
	"offtype/pipeline/photo"
	"offtype/pipeline/record"
)

// Result is what a run leaves behind.
type Result struct {
	Run      *record.Run
	Parts    []*Part // in the order of the photos, slim
	Problems []error // arguments that could not be read
	Stopped  bool    // ended early by the caller
	Failed   int     // photos that failed
	Measured int     // photos measured now
	Kept     int     // photos kept from an earlier run
	Took     time.Duration
	Out      string // result folder
	Report   string // path of report.html

	How Measuring // how the photos were measured

	list      string // of a share, see manifest
	sameTable bool   // of a run that was read back: one row stands for a fruit of several photos

	// Seen lists, for each fruit of photos that show one table, all places where it was seen, the row that
	// stands for it first.
	Seen [][]record.Key
}

// job is one photo on its way through the workers.
type job struct {
	index int
	in    Input
	sha   string
	part  *Part
	kept  bool
	lean  bool // part holds no fruit: they lie in the result folder until all photos are done
	took  time.Duration
}

// plan hashes the photos and marks the second and later copies of the same bytes, and leaves out
// what belongs to other shards. The first copy in order is the one that is measured.
func plan(ctx context.Context, ins []Input, o *Options) []*job {
	jobs := make([]*job, len(ins))
	parallel(ctx, len(ins), o.workers(len(ins)), func(i int) {
		j := &job{index: i, in: ins[i]}
		sha, err := photo.SHA256(ins[i].Path, photo.Options{})
		j.sha = sha
		if err != nil {
			j.part = failedPart(j, err)
		}
		jobs[i] = j
	})
	first := map[string]string{}
	var out []*job
	for _, j := range jobs {
		if j == nil { // stopped before it was hashed
			continue
		}
		if !inShard(j.sha, j.index, o.ShardI, o.ShardN) {
			continue
		}
		if j.part == nil {
			if was, twice := first[j.sha]; twice {
				j.part = &Part{Index: j.index, Photo: record.Photo{
					Name: j.in.Name, Path: j.in.Path, SHA256: j.sha, Status: record.StatusDuplicate,
					Message: "the same photo as " + was + "; measured once",
				}}
			} else {
				first[j.sha] = j.in.Name
			}
		}
		out = append(out, j)
	}
	return out
}

// inShard reports whether a photo belongs to shard i of n, by its content, so that copies of the
// same bytes meet in one shard.
func inShard(sha string, index, i, n int) bool {
	if n <= 1 {
		return true
	}
	v := uint64(index)
	if len(sha) >= 12 {
		if u, err := strconv.ParseUint(sha[:12], 16, 64); err == nil {
			v = u
		}
	}
	return int(v%uint64(n)) == i-1
}

func failedPart(j *job, err error) *Part {
	return &Part{Index: j.index, Photo: record.Photo{
		Name: j.in.Name, Path: j.in.Path, SHA256: j.sha, Status: record.StatusFailed, Message: err.Error(), NoScale: card.NoScale(err),
	}}
}

var errPartGone = errors.New("its stored result is no longer in the folder parts; run the same command again")

// parallel calls do(i) for i in 0..n-1 on w goroutines and waits for all of them. It starts no
// new call once ctx is done.
func parallel(ctx context.Context, n, w int, do func(i int)) {
	next := make(chan int)
	var wg sync.WaitGroup
	for k := 0; k < w; k++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range next {
				do(i)
			}
		}()
	}
feed:
	for i := 0; i < n; i++ {
		select {
		case next <- i:
		case <-ctx.Done():
			break feed
		}
	}
	close(next)
	wg.Wait()
}

// measureAll runs every planned photo through the measurer, keeps what an earlier run finished,
// and returns the parts in order.
func measureAll(ctx context.Context, jobs []*job, m *measurer, o *Options) *Result {
	res := &Result{Run: &record.Run{}, How: o.measuring()}
	prog := o.Progress
	if prog == nil {
		prog = quiet{}
	}
	prog.Start(len(jobs))
	var mu sync.Mutex
	finished := make([]bool, len(jobs))
	parallel(ctx, len(jobs), o.workers(len(jobs)), func(i int) {
		j := jobs[i]
		t := time.Now()
		if j.part == nil {
			m.one(ctx, j)
		}
		j.took = time.Since(t)
		if ctx.Err() != nil && j.part == nil {
			return
		}
		mu.Lock()
		defer mu.Unlock()
		finished[i] = true
		prog.Done(&j.part.Photo, j.took, j.kept)
	})
	prog.Finish()
	for i, j := range jobs {
		if !finished[i] {
			res.Stopped = true
			continue
		}
		j.load(o.Out)
		switch {
		case j.part.Photo.Status == record.StatusFailed:
			res.Failed++
		case j.kept:
			res.Kept++
		case j.part.Photo.Status == record.StatusOK:
			res.Measured++
		}
		res.Parts = append(res.Parts, j.part)
	}
	if ctx.Err() != nil {
		res.Stopped = true
	}
	return res
}

// one measures a photo or takes its stored result. A panic in a decoder or a fit is that photo's
// error and never the batch's.
func (m *measurer) one(ctx context.Context, j *job) {
	var failed error
	defer func() {
		if failed != nil {
			j.part = failedPart(j, failed)
		}
	}()
	defer caught(&failed)
	if ctx.Err() != nil {
		return
	}
	fixes, fixHash, err := m.fixesFor(j.in)
	if err != nil {
		j.part = failedPart(j, err)
		return
	}
	key := partKey(j.sha, m.settings, fixHash, m.opt.Program)
	if !m.opt.Again && m.opt.ShowSteps == "" { // the steps of a kept photo are gone
		if p, ok := readHead(m.opt.Out, key); ok {
			j.kept = true
			j.keepLean(p)
			return
		}
	}
	p, preview, err := m.photo(j, fixes)
	if err != nil {
		j.part = failedPart(j, err)
		return
	}
	p.Key, p.Index = key, j.index
	if err := writePart(m.opt.Out, p, preview); err != nil {
		j.part = failedPart(j, err)
		return
	}
	j.keepLean(p)
}

// keepLean keeps of a stored result what progress and errors need. With all its fruit a photo
// takes some 50 kB, and the memory of a run would grow with every photo.
func (j *job) keepLean(p *Part) {
	j.part, j.lean = &Part{Key: p.Key, Index: j.index, Photo: p.Photo}, true
	j.name(j.part)
}

// name gives a part the place and name that its photo has in this run.
func (j *job) name(p *Part) {
	p.Index, p.Photo.Name, p.Photo.Path = j.index, j.in.Name, j.in.Path
	for i := range p.Fruits {
		p.Fruits[i].Photo = j.in.Name
	}
}

// load reads the fruit of a lean part back, without their outlines.
func (j *job) load(out string) {
	if !j.lean {
		return
	}
	p, ok := readPart(out, j.part.Key)
	if !ok {
		j.part, j.lean = failedPart(j, errPartGone), false
		return
	}
	j.name(p)
	p.slim()
	j.part, j.lean = p, false
}
