package desk

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode"

	"offtype/pipeline"
	whole "offtype/pipeline/atomic"
	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// idPattern is what folder names of harvests and keys of photos look like: made here, never taken
// from a client without a look-up.
var idPattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,79}$`)

// plainFile is what file names of photos look like: as safeName makes them, with a number behind where two photos had
// one name, which may be longer than safeName leaves a name.
var plainFile = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9_-]{0,79}(\.[a-z0-9]+)?$`)

// saved is harvest.json.
type saved struct {
	Name    string
	Made    string
	Lot     string       // code of the seed lot in the book
	Variety string       // name of a description, see variety.go; empty: groups only
	Stage   string       // young, at harvest, cured, stored
	Plants  int          // fruiting plants, when there are no tags
	Item    bool         // one item is one plant
	Control []string     // plant numbers: same variety, other seed, same bed and sowing
	Spared  []string     // FILE:NUMBER of fruit that are not to be judged: sick, damaged, unripe
	Photos  []savedPhoto // by name, as the command takes them

	Result  string           `json:",omitempty"` // result folder of offtype run; empty: the harvest's own
	Run     *book.RunOptions `json:",omitempty"` // how that was made
	Colours []int            `json:",omitempty"` // cards whose measured colours count, see cards.go
	Lens    string           `json:",omitempty"` // name of a lens file, see cards.go
	Told    string           `json:",omitempty"` // stage that was written into the book last
	Ruler   float64          `json:",omitempty"` // mm that a ruler reads on the card's 100 mm line; 0: as the run says, or 100
}

// savedPhoto is a photo of a harvest.
type savedPhoto struct {
	Key   string // names it in addresses: start of its SHA-256
	SHA   string
	File  string // in the harvest's photos folder; also its name in the tables
	Coin  float64
	Line  string // x1,y1,x2,y2=MM
	None  bool   // no scale
	Plant string // all fruit here are from this plant

	Path  string `json:",omitempty"` // where a photo of offtype run lies; empty: in the photos folder
	Table string `json:",omitempty"` // photos of one name show one undisturbed table
}

// usable reports whether key and names are such as can be made here: nothing read from a file or the book may
// lead out of the harvest's folders.
func (p *savedPhoto) usable() bool {
	if p.Path != "" { // a name of offtype run may hold folders
		return idPattern.MatchString(p.Key) && filepath.IsLocal(filepath.FromSlash(p.File)) && filepath.IsAbs(p.Path)
	}
	return idPattern.MatchString(p.Key) && plainFile.MatchString(p.File)
}

// state of a photo on its way.
type state string

const (
	waiting   state = "waiting"
	measuring state = "measuring"
	measured  state = "measured"
	failed    state = "failed"
)

// live is what is known of a photo while the program runs.
type live struct {
	state   state
	message string
	noScale bool           // it failed for want of a scale: it could be read
	part    *pipeline.Part // with outlines, nil until measured
}

// harvest is a harvest of the desk. mu guards everything below it.
type harvest struct {
	ID   string
	desk *Desk

	place atomic.Pointer[string] // saved.Result, for readers that do not hold mu

	fixing  sync.Mutex   // held while a correction is measured; taken before mu
	cutting sync.Mutex   // held while cut-outs are made; taken before mu
	asked   sync.RWMutex // held for reading by each request, for writing while the harvest is renamed or deleted; taken first

	mu sync.Mutex
	saved
	live    map[string]*live // by photo key
	woken   bool
	result  *record.Run // grouped and judged, nil until the first time
	seen    [][]record.Key
	best    map[record.Key]record.Key // a fruit seen on several photos of one table → the row that stands for it
	lost    bool                      // the result folder is not where it was
	stale   bool                      // result is older than the photos
	judging bool
	held    bool        // nothing new is measured or judged, see still
	soon    *time.Timer // judging waits a moment for the next correction
	said    []string    // what recording and judging had to say
	cutouts map[string][]byte
}

func (h *harvest) folder() string   { return filepath.Join(h.desk.dir, "harvests", h.ID) }
func (h *harvest) photoDir() string { return filepath.Join(h.folder(), "photos") }

// resultDir is the folder that the result lies in.
func (h *harvest) resultDir() string {
	if dir := h.place.Load(); dir != nil && *dir != "" {
		return *dir
	}
	return filepath.Join(h.folder(), "result")
}

func (h *harvest) path(p *savedPhoto) string {
	if p.Path != "" {
		return p.Path
	}
	return filepath.Join(h.photoDir(), p.File)
}

func readHarvest(d *Desk, id string) (*harvest, error) {
	h := &harvest{ID: id, desk: d, live: map[string]*live{}}
	b, err := os.ReadFile(filepath.Join(h.folder(), "harvest.json"))
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(b, &h.saved); err != nil {
		return nil, err
	}
	h.Photos = slices.DeleteFunc(h.Photos, func(p savedPhoto) bool { return !p.usable() })
	h.place.Store(&h.saved.Result)
	for i := range h.Photos {
		h.live[h.Photos[i].Key] = &live{state: waiting}
	}
	return h, nil
}

// save writes harvest.json; the caller holds mu.
func (h *harvest) save() error {
	b, err := json.MarshalIndent(h.saved, "", " ")
	if err != nil {
		return err
	}
	return whole.WriteBytes(filepath.Join(h.folder(), "harvest.json"), b)
}

// change changes what is saved of the harvest in one step: on an error nothing is changed.
func (h *harvest) change(do func(*saved) error) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	old := h.saved
	old.Photos = slices.Clone(h.Photos)
	if err := do(&h.saved); err != nil {
		h.saved = old
		return err
	}
	if err := h.save(); err != nil {
		h.saved = old
		return fmt.Errorf("not saved: %w", err)
	}
	return nil
}

// newHarvest makes a harvest with an empty folder.
func (d *Desk) newHarvest(name string) (*harvest, error) {
	name = oneLine(name, 60)
	if name == "" {
		return nil, errors.New("the harvest needs a name, such as 2026 squash")
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, h := range d.harvests {
		if strings.EqualFold(h.Name, name) {
			return nil, fmt.Errorf("there is a harvest %q already; choose another name or open that one", name)
		}
	}
	id := d.freeID(name)
	h := &harvest{ID: id, desk: d, live: map[string]*live{}, woken: true}
	h.saved = saved{Name: name, Made: d.opt.Now().Format(time.RFC3339)}
	h.Colours = d.cardNumbers() // measured cards count from the start
	h.place.Store(&h.saved.Result)
	if err := h.save(); err != nil {
		os.Remove(h.folder()) // empty: the next start would take it for a damaged harvest
		return nil, fmt.Errorf("the harvest cannot be made: %w", err)
	}
	d.harvests[id] = h
	return h, nil
}

// freeID makes a folder name of a harvest's name that no other has; the caller holds d.mu.
func (d *Desk) freeID(name string) string {
	id := slug(name)
	for k := 2; ; k++ {
		if _, taken := d.harvests[id]; !taken {
			if _, err := os.Stat(filepath.Join(d.dir, "harvests", id)); err != nil { // what is wrong but "none there" is said when it is made
				return id
			}
		}
		id = fmt.Sprintf("%s-%d", slug(name), k)
	}
}

// list returns the harvests, the newest first.
func (d *Desk) list() []*harvest {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := make([]*harvest, 0, len(d.harvests))
	for _, h := range d.harvests {
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b *harvest) int {
		return cmp.Or(b.madeAt().Compare(a.madeAt()), strings.Compare(a.ID, b.ID))
	})
	return out
}

// madeAt is when the harvest was made; what is written down bears the time zone of that day.
func (h *harvest) madeAt() time.Time {
	t, _ := time.Parse(time.RFC3339, h.Made) // of a damaged file: very old
	return t
}

func (d *Desk) harvest(id string) *harvest {
	d.mu.Lock()
	h := d.harvests[id]
	d.mu.Unlock()
	if h != nil {
		h.wake()
	}
	return h
}

// photo returns the saved photo with the key and what is known of it; the caller holds mu.
func (h *harvest) photo(key string) (*savedPhoto, *live) {
	for i := range h.Photos {
		if h.Photos[i].Key == key {
			return &h.Photos[i], h.live[key]
		}
	}
	return nil, nil
}

// oneLine makes text fit for a name: one line, no control characters, at most n characters.
func oneLine(s string, n int) string {
	s = strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, s)), " ")
	if r := []rune(s); len(r) > n {
		s = strings.TrimSpace(string(r[:n]))
	}
	return s
}

// slug turns a name into a folder name.
func slug(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
		if b.Len() >= 40 {
			break
		}
	}
	s := strings.Trim(b.String(), "-")
	if s == "" {
		return "harvest"
	}
	return s
}

// safeName turns the name of an uploaded file into a plain file name: letters, digits, "-", "_"
// and one ending. Folders in it are dropped.
func safeName(name string) string {
	if i := strings.LastIndexAny(name, `/\`); i >= 0 {
		name = name[i+1:]
	}
	ext := filepath.Ext(name)
	clean := func(s string) string {
		s = strings.Map(func(r rune) rune {
			switch {
			case r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_':
				return r
			}
			return '-'
		}, s)
		return strings.Trim(s, "-")
	}
	stem := clean(strings.TrimSuffix(name, ext))
	if len(stem) > 60 {
		stem = strings.TrimRight(stem[:60], "-")
	}
	if stem == "" {
		stem = "photo"
	}
	if e := clean(strings.TrimPrefix(ext, ".")); e != "" {
		return stem + "." + strings.ToLower(e)
	}
	return stem
}
