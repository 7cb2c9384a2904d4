// Package gather reads a harvest of the book and puts together what another package takes: plants for the choice of seed,
// rows of a variety trial, a seed lot's counts over several harvests, a side of a comparison, a report. Book, report,
// compare and seed do not know each other; command line and page both get their data here, so that they cannot differ.
package gather

import (
	"context"

	"offtype/pipeline/book"
	"offtype/pipeline/record"
)

// read gives what the book holds of a harvest and its newest measurement.
func read(ctx context.Context, b *book.Book, harvest string, o book.LoadOptions) (h book.Harvest, run record.Run, err error) {
	if h, err = b.Harvest(ctx, harvest); err == nil {
		run, err = b.LoadRunWith(ctx, harvest, o)
	}
	return h, run, err
}
