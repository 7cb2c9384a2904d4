// Package gather reads a harvest of the book and puts together what another package takes: plants for the choice of seed,
// rows of a variety trial, a seed lot's counts over several harvests, a side of a comparison, a report. Book, report,
// compare and seed do not know each other; command line and page both get their data here, so that they cannot differ.
package gather
