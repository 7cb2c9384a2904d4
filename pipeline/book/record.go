package book

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"math"
	"reflect"
	"strings"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// Recorded says what RecordRun did.
type Recorded struct {
	Revision int  // 1 at the first measurement of the harvest
	Already  bool // the same result was in the book: nothing was changed
	Photos   int
	Fruits   int
	Resumed  int // photos that an earlier, stopped recording had already put in
	// NewLot is the seed lot, when it was new to the book; empty else.
	NewLot string
	// Twice names the other harvests of the book that hold photos of this one: their fruit would count twice.
	Twice []SamePhotos
	// Said are sentences the grower should see: another lot, observations that could not follow their
	// fruit, photos no longer part of the harvest. What to do about the rest the caller says.
	Said []string
}

// RecordRun writes run into the book as the newest measurement of the harvest.
//
// Harvest, lot, variety and plants that the book does not know yet are made. Each photo with its
// fruit is one transaction; groups, verdicts and the mark that makes the run count are the last.
// When the program is stopped in between, recording the same run again completes it. Recording
// the same result twice changes nothing. A different result becomes a new revision: hand
// observations and decisions follow their fruit by the overlap of the outlines.
//
// lot may be empty (the harvest keeps the lot it has).
func (b *Book) RecordRun(ctx context.Context, harvest, lot string, run record.Run) (Recorded, error) {
	if strings.TrimSpace(harvest) == "" {
		return Recorded{}, errors.New("record run: the harvest has no name; give one with --harvest")
	}
	r := &recorder{b: b, run: &run, harvest: harvest, lot: lot}
	if err := r.plan(); err != nil {
		return Recorded{}, fmt.Errorf("record harvest %q: %w", harvest, err)
	}
	// A recording that another program threw away meanwhile is begun again.
	var err error
	for range 3 {
		if err = r.all(ctx); !errors.Is(err, errGone) {
			break
		}
	}
	if err == nil {
		err = r.twice(ctx)
	}
	if err != nil {
		return Recorded{}, fmt.Errorf("record harvest %q: %w", harvest, err)
	}
	return r.out, nil
}

var errGone = errors.New("the recording was removed by another program")

// recorder holds one RecordRun.
type recorder struct {
	b            *Book
	run          *record.Run
	harvest, lot string

	photos []photoRow
	input  string
	hid    int64 // harvest
	rid    int64 // run
	prev   int64 // the finished run before this one, 0 when none
	out    Recorded
}

// photoRow is a photo as it will be written, with its fruit.
type photoRow struct {
	photo   record.Photo
	status  string
	detail  string
	content string
	fruits  []fruitRow
}

type fruitRow struct {
	f      *record.Fruit
	seq    int
	detail string
}

// hash adds everything that is written of the fruit.
func (r *fruitRow) hash(h hash.Hash) {
	f := r.f
	fmt.Fprintf(h, "%d %d %q %x %x %q %q %d %q %s\n", r.seq, f.Number, f.Plant, math.Float64bits(f.X), math.Float64bits(f.Y), f.Pose, f.Pattern, f.Ribs, f.Notes, r.detail)
	var b []byte
	bits := func(xs ...float64) {
		for _, x := range xs {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
	}
	v := reflect.ValueOf(f).Elem()
	for _, c := range valueFields {
		x := v.Field(c.index).Interface().(record.Value)
		bits(x.V, x.U)
	}
	for _, c := range colourFields {
		if x := v.Field(c.index).Interface().(*record.Lab); x != nil {
			bits(float64(c.index), x.L, x.A, x.B, x.U)
		}
	}
	for _, c := range pointFields {
		pts := v.Field(c.index).Interface().([]geom.Px)
		bits(float64(c.index), float64(len(pts)))
		for _, p := range pts {
			bits(p.X, p.Y)
		}
	}
	h.Write(b)
}

// key names the photo within the harvest.
func (p *photoRow) key() string {
	if p.photo.SHA256 != "" {
		return p.photo.SHA256
	}
	return "name:" + p.photo.Name
}

var photoColumns = map[string]bool{"Name": true, "SHA256": true, "Path": true, "Status": true, "Taken": true, "Make": true, "Model": true, "Message": true}

// plan sorts the fruit under their photos and hashes everything that will be written.
func (r *recorder) plan() error {
	at := map[string]int{}
	for _, p := range r.run.Photos {
		if _, twice := at[p.Name]; twice {
			return fmt.Errorf("photo %q is listed twice", p.Name)
		}
		at[p.Name] = len(r.photos)
		d, err := encode(p, photoColumns)
		if err != nil {
			return fmt.Errorf("photo %q: %w", p.Name, err)
		}
		r.photos = append(r.photos, photoRow{photo: p, status: string(p.Status), detail: d})
	}
	for i := range r.run.Fruits {
		f := &r.run.Fruits[i]
		j, ok := at[f.Photo]
		if !ok { // fruit from a table of values: no photo file
			j = len(r.photos)
			at[f.Photo] = j
			r.photos = append(r.photos, photoRow{photo: record.Photo{Name: f.Photo}, status: "listed", detail: "{}"})
		}
		d, err := encode(*f, notInDetail)
		if err != nil {
			return fmt.Errorf("fruit %d of photo %q: %w", f.Number, f.Photo, err)
		}
		r.photos[j].fruits = append(r.photos[j].fruits, fruitRow{f, i, d})
	}
	all := sha256.New()
	for i := range r.photos {
		p := &r.photos[i]
		h := sha256.New()
		fmt.Fprintf(h, "%q %q %q %q\n", p.photo.Name, p.photo.SHA256, p.status, p.detail)
		for _, f := range p.fruits {
			f.hash(h)
		}
		p.content = hex.EncodeToString(h.Sum(nil))
		fmt.Fprintln(all, p.content)
	}
	rest, err := encode(*r.run, map[string]bool{"Photos": true, "Fruits": true})
	if err != nil {
		return err
	}
	fmt.Fprintln(all, rest)
	r.input = hex.EncodeToString(all.Sum(nil))
	return nil
}

// all writes the run: begin, one transaction a photo, finish.
func (r *recorder) all(ctx context.Context) error {
	r.out = Recorded{Photos: len(r.photos), Fruits: len(r.run.Fruits)}
	if err := r.b.write(ctx, func(tx *sql.Tx) error { return r.begin(ctx, tx) }); err != nil {
		return err
	}
	if r.out.Already {
		return nil
	}
	for i := range r.photos {
		if err := r.b.write(ctx, func(tx *sql.Tx) error { return r.putPhoto(ctx, tx, i) }); err != nil {
			return fmt.Errorf("photo %q: %w", r.photos[i].photo.Name, err)
		}
	}
	return r.b.write(ctx, func(tx *sql.Tx) error { return r.finish(ctx, tx) })
}

// begin finds or makes harvest, lot and the run to write into.
func (r *recorder) begin(ctx context.Context, tx *sql.Tx) error {
	lot, err := r.ensureLot(ctx, tx)
	if err != nil {
		return err
	}
	if r.hid, err = r.ensureHarvest(ctx, tx, lot); err != nil {
		return err
	}
	r.prev, err = currentRun(ctx, tx, r.hid)
	if err != nil {
		return err
	}
	if r.prev != 0 {
		var input string
		if err := tx.QueryRowContext(ctx, "SELECT input, revision FROM runs WHERE id = ?", r.prev).Scan(&input, &r.out.Revision); err != nil {
			return err
		}
		if input == r.input {
			r.out.Already = true
			return nil
		}
	}
	err = tx.QueryRowContext(ctx, "SELECT id, revision FROM runs WHERE harvest_id = ? AND input = ? AND finished IS NULL", r.hid, r.input).Scan(&r.rid, &r.out.Revision)
	if err == nil || !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	settings, err := json.Marshal(r.run.Settings)
	if err != nil {
		return err
	}
	if err := tx.QueryRowContext(ctx, "SELECT coalesce(max(revision), 0) + 1 FROM runs WHERE harvest_id = ?", r.hid).Scan(&r.out.Revision); err != nil {
		return err
	}
	r.rid, err = insert(ctx, tx, `INSERT INTO runs (harvest_id, revision, input, program, settings, started) VALUES (?, ?, ?, ?, ?, ?)`,
		r.hid, r.out.Revision, r.input, r.run.Program, string(settings), r.b.stamp())
	return err
}

// currentRun is the newest finished run of a harvest, 0 when there is none.
func currentRun(ctx context.Context, tx querier, harvest int64) (id int64, err error) {
	err = tx.QueryRowContext(ctx, "SELECT id FROM runs WHERE harvest_id = ? AND finished IS NOT NULL ORDER BY revision DESC LIMIT 1", harvest).Scan(&id)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return id, err
}

// putPhoto writes one photo with its fruit unless a stopped recording has done so.
func (r *recorder) putPhoto(ctx context.Context, tx *sql.Tx, i int) error {
	p := &r.photos[i]
	var finished sql.NullString
	if err := tx.QueryRowContext(ctx, "SELECT finished FROM runs WHERE id = ?", r.rid).Scan(&finished); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			return errGone
		}
		return err
	}
	var have int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM photos WHERE run_id = ? AND name = ?", r.rid, p.photo.Name).Scan(&have); err != nil {
		return err
	}
	if have > 0 || finished.Valid {
		r.out.Resumed++
		return nil
	}
	pid, err := insert(ctx, tx, `INSERT INTO photos (run_id, seq, name, sha256, path, status, taken, make, model, message, content, detail)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, r.rid, i, p.photo.Name, p.photo.SHA256, p.photo.Path, p.status,
		p.photo.Taken, p.photo.Make, p.photo.Model, p.photo.Message, p.content, p.detail)
	if err != nil {
		return err
	}
	ids, err := r.identify(ctx, tx, p)
	if err != nil {
		return err
	}
	w, err := newFruitWriter(ctx, tx)
	if err != nil {
		return err
	}
	defer w.close()
	for j, f := range p.fruits {
		if err := w.put(ctx, pid, ids[j], f); err != nil {
			return fmt.Errorf("fruit %d: %w", f.f.Number, err)
		}
	}
	return nil
}

// Fields of the run and its judgement that have columns or tables of their own.
var (
	runElsewhere       = map[string]bool{"Program": true, "Settings": true, "Photos": true, "Fruits": true, "Groups": true, "Judgement": true}
	judgementElsewhere = map[string]bool{"Fruits": true, "Groups": true, "Plants": true, "Lot": true}
)

// finish writes what spans the photos and makes the run count.
func (r *recorder) finish(ctx context.Context, tx *sql.Tx) error {
	var finished sql.NullString
	if err := tx.QueryRowContext(ctx, "SELECT finished FROM runs WHERE id = ?", r.rid).Scan(&finished); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			return errGone
		}
		return err
	}
	if finished.Valid { // another program was quicker with the same run
		return nil
	}
	desc, err := r.ensureDescription(ctx, tx)
	if err != nil {
		return err
	}
	if err := r.putGroups(ctx, tx); err != nil {
		return err
	}
	if err := r.putVerdicts(ctx, tx); err != nil {
		return err
	}
	if err := r.ensurePlants(ctx, tx); err != nil {
		return err
	}
	lot, err := encode(r.run.Judgement.Lot, nil)
	if err != nil {
		return err
	}
	detail, err := encode(*r.run, runElsewhere)
	if err != nil {
		return err
	}
	judgement, err := encode(r.run.Judgement, judgementElsewhere)
	if err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, "UPDATE runs SET finished = ?, description_id = ?, lot_finding = ?, detail = ?, judgement = ? WHERE id = ?",
		r.b.stamp(), desc, lot, detail, judgement, r.rid); err != nil {
		return err
	}
	if err := r.follow(ctx, tx); err != nil {
		return err
	}
	return r.sweep(ctx, tx)
}

// sweep removes recordings of this harvest that were stopped and never finished, and fruit that
// no measurement and no hand entry speaks of.
func (r *recorder) sweep(ctx context.Context, tx *sql.Tx) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM runs WHERE harvest_id = ? AND finished IS NULL AND revision < ?", r.hid, r.out.Revision); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `DELETE FROM fruits WHERE harvest_id = ?
		AND id NOT IN (SELECT fruit_id FROM measurements)
		AND id NOT IN (SELECT fruit_id FROM observations WHERE fruit_id IS NOT NULL)
		AND id NOT IN (SELECT fruit_id FROM decisions WHERE fruit_id IS NOT NULL)`, r.hid)
	return err
}
