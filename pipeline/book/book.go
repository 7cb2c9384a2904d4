// Package book keeps harvests, seasons, plants, seed lots and hand observations in one SQLite
// file, the harvest book.
//
// A run is recorded photo by photo, each photo in one transaction, and counts only when its last
// photo is in: a program that is stopped at any moment leaves the book as it was before the run
// or with a run that the next RecordRun finishes. Several programs may use one book at once.
// The tables are described in docs/book.md.
package book

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the database engine
)

//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks a SQLite file as a harvest book (set by the first migration).
const applicationID = 1868981876

// Errors that callers decide on.
var (
	ErrNotFound = errors.New("not in the book")
	ErrNotABook = errors.New("not a harvest book")
	ErrNewer    = errors.New("written by a newer version of this program")
)

// Book is an open harvest book. It may be used by several goroutines. Close it.
type Book struct {
	db   *sql.DB // one connection, for writing
	ro   *sql.DB // several, for reading
	path string
	now  func() time.Time
}

// Options of a book.
type Options struct {
	// Now gives the time written beside entries; nil means the computer's clock.
	Now func() time.Time
	// MustExist refuses to make a new file.
	MustExist bool
	// Busy is how long to wait for another program that is writing; 0 means 30 s.
	Busy time.Duration
}

// DefaultPath returns where the book lies when nothing else is said: the user's data folder.
func DefaultPath() (string, error) {
	dir := os.Getenv("XDG_DATA_HOME")
	if dir == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return "", fmt.Errorf("find the data folder: %w; name the book with --book", err)
		}
		switch runtime.GOOS {
		case "windows", "darwin":
			if dir, err = os.UserConfigDir(); err != nil {
				return "", fmt.Errorf("find the data folder: %w; name the book with --book", err)
			}
		default:
			dir = filepath.Join(home, ".local", "share")
		}
	}
	return filepath.Join(dir, "offtype", "harvest.book"), nil
}

// Open opens the book at path and brings its tables up to date; an empty path means DefaultPath.
//
// Errors: ErrNotABook when the file is something else, ErrNewer when a newer program wrote it,
// fs.ErrNotExist with MustExist.
func Open(ctx context.Context, path string, opt Options) (*Book, error) {
	if path == "" {
		var err error
		if path, err = DefaultPath(); err != nil {
			return nil, err
		}
		if !opt.MustExist {
			if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
				return nil, fmt.Errorf("make the data folder: %w", err)
			}
		}
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Busy == 0 {
		opt.Busy = 30 * time.Second
	}
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		return nil, fmt.Errorf("open book %q: it is a folder; name a file", path)
	} else if opt.MustExist && err != nil {
		return nil, fmt.Errorf("open book %q: %w; record a harvest first or name another file with --book", path, fs.ErrNotExist)
	}
	b := &Book{path: path, now: opt.Now}
	// A new book is for its owner alone: it may hold people's contacts. SQLite gives its other files the same mode.
	if f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600); err == nil {
		f.Close()
	}
	var err error
	if b.db, err = sql.Open("sqlite", dsn(path, opt.Busy, "immediate")); err != nil {
		return nil, fmt.Errorf("open book %q: %w", path, err)
	}
	b.db.SetMaxOpenConns(1)
	if b.ro, err = sql.Open("sqlite", dsn(path, opt.Busy, "deferred")); err != nil {
		b.db.Close()
		return nil, fmt.Errorf("open book %q: %w", path, err)
	}
	b.ro.SetMaxOpenConns(4)
	if err := b.prepare(ctx, opt.Busy); err != nil {
		b.Close()
		return nil, fmt.Errorf("open book %q: %w", path, err)
	}
	return b, nil
}

// dsn returns the data source name with the settings each connection needs.
func dsn(path string, busy time.Duration, lock string) string {
	q := url.Values{"_txlock": {lock}, "_pragma": {
		fmt.Sprintf("busy_timeout(%d)", busy.Milliseconds()),
		"journal_mode(wal)", "foreign_keys(1)", "synchronous(normal)", "trusted_schema(0)",
	}}
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath(), RawQuery: q.Encode()}
	return u.String()
}

// prepare checks what the file is and migrates it.
func (b *Book) prepare(ctx context.Context, busy time.Duration) error {
	deadline := time.Now().Add(busy)
	for {
		err := b.migrate(ctx)
		if err == nil || errors.Is(err, ErrNotABook) || errors.Is(err, ErrNewer) || ctx.Err() != nil || time.Now().After(deadline) {
			return err
		}
		// Another program may be making the tables at this very moment: look again.
		if !transient(err) {
			return err
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (b *Book) migrate(ctx context.Context) error {
	var id, tables int
	// One statement sees one state of the file, also while another program makes the tables.
	if err := b.db.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT count(*) FROM sqlite_schema WHERE name NOT LIKE 'goose%' AND name NOT LIKE 'sqlite%')`).Scan(&id, &tables); err != nil {
		if notADatabase(err) {
			return ErrNotABook
		}
		return err
	}
	if tables > 0 && id != applicationID {
		return ErrNotABook
	}
	p, err := newProvider(b.db)
	if err != nil {
		return err
	}
	src := p.ListSources()
	newest := src[len(src)-1].Version
	have, err := p.GetDBVersion(ctx)
	if err != nil {
		return err
	}
	if have > newest {
		return fmt.Errorf("%w (tables of version %d, this program knows %d); install the newer program", ErrNewer, have, newest)
	}
	if have == newest {
		return nil
	}
	_, err = p.Up(ctx)
	return err
}

func newProvider(db *sql.DB) (*goose.Provider, error) {
	sub, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectSQLite3, db, sub)
}

// Path returns the file of the book.
func (b *Book) Path() string { return b.path }

// Close closes the book.
func (b *Book) Close() error { return errors.Join(b.ro.Close(), b.db.Close()) }

// stamp is the present time as the book writes it (UTC, RFC 3339).
func (b *Book) stamp() string { return b.now().UTC().Format(time.RFC3339) }

// write runs f in one transaction: all of it is kept or none.
func (b *Book) write(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := b.db.BeginTx(ctx, nil)
	if err != nil {
		return plain(err)
	}
	defer tx.Rollback() // no effect after Commit
	if err := f(tx); err != nil {
		return plain(err)
	}
	return plain(tx.Commit())
}

// read runs f on one unchanging state of the book.
func (b *Book) read(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := b.ro.BeginTx(ctx, nil)
	if err != nil {
		return plain(err)
	}
	defer tx.Rollback()
	return plain(f(tx))
}
