package book

import (
	"errors"
	"fmt"
	"strings"

	"modernc.org/sqlite"
)

// SQLite result codes, https://www.sqlite.org/rescode.html
const (
	codeBusy     = 5
	codeLocked   = 6
	codeReadOnly = 8
	codeFull     = 13
	codeNotADB   = 26
)

func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

func notADatabase(err error) bool { return code(err) == codeNotADB }

// transient reports whether trying again may help: another program holds the book or has just
// made the tables.
func transient(err error) bool {
	c := code(err)
	return c == codeBusy || c == codeLocked || strings.Contains(err.Error(), "already exists") ||
		strings.Contains(err.Error(), "UNIQUE constraint failed: goose_db_version")
}

// plain says in plain words what can be done about a database error.
func plain(err error) error {
	switch code(err) {
	case codeBusy, codeLocked:
		return fmt.Errorf("another program is writing to the book; try again when it is done: %w", err)
	case codeReadOnly:
		return fmt.Errorf("the book cannot be written; check the rights of the file and its folder: %w", err)
	case codeFull:
		return fmt.Errorf("the disk is full; make room and run again, nothing recorded is lost: %w", err)
	}
	return err
}

// readError names the harvest that could not be read, once.
func readError(harvest string, err error) error {
	if errors.Is(err, ErrNotFound) {
		return err // names it
	}
	return fmt.Errorf("read harvest %q: %w", harvest, err)
}
