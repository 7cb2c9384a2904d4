// Package desk serves the local page that does the whole job without a command line: photos in,
// outlines put right, groups, verdicts, hand observations, harvest book, report.
//
// It holds no logic of its own: measuring is package pipeline, judging package judge, keeping
// package book. What people upload and correct lies in a folder beside the harvest book, one
// folder a harvest, in the form that the commands read too (photos with PHOTO.fix.json beside
// them, and a result folder). Everything is written in one step before it is shown as saved.
package desk

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"offtype/pipeline"
	"offtype/pipeline/book"
)

// Options of the page.
type Options struct {
	Book    string // file of the harvest book; empty: book.DefaultPath
	Program string // version, part of every result
	Workers int    // photos measured at a time; 0: 2
	Log     *slog.Logger
	Now     func() time.Time
}

// Desk is the page with all that it holds. Close it.
type Desk struct {
	opt     Options
	book    *book.Book
	dir     string // folder beside the book
	session *pipeline.Session
	token   string // of every form, new at each start
	hosts   *hostList
	share   *sharing
	look    looking

	boarding sync.Mutex // held while a photo of the chessboard is kept

	ctx  context.Context // ends with Close
	stop context.CancelFunc
	work chan *photoJob
	wg   sync.WaitGroup

	mu       sync.Mutex
	harvests map[string]*harvest // by ID

	unread []string // sentences on harvest folders that could not be read at the start
}

// New opens the book and the folder beside it and starts the measuring.
func New(ctx context.Context, o Options) (*Desk, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Workers == 0 {
		o.Workers = 2
	}
	b, err := book.Open(ctx, o.Book, book.Options{Now: o.Now})
	if err != nil {
		return nil, err
	}
	d := &Desk{opt: o, book: b, token: secret(), harvests: map[string]*harvest{}, hosts: newHostList(), share: newSharing(o.Now), work: make(chan *photoJob, 10_000)}
	stem := strings.TrimSuffix(b.Path(), filepath.Ext(b.Path()))
	d.dir = stem + ".desk"
	if err := d.load(); err != nil {
		b.Close()
		return nil, err
	}
	if d.session, err = pipeline.NewSession(o.Program, o.Workers); err != nil {
		b.Close()
		return nil, err
	}
	d.ctx, d.stop = context.WithCancel(context.WithoutCancel(ctx))
	for range o.Workers {
		d.wg.Add(1)
		go d.worker()
	}
	return d, nil
}

// Close waits for the photos that are being measured and closes the book.
func (d *Desk) Close() error {
	d.stop()
	d.share.stop()
	d.wg.Wait()
	d.session.Close()
	return d.book.Close()
}

// Folder returns the folder that photos, corrections and results lie in.
func (d *Desk) Folder() string { return d.dir }

// secret returns 128 random bits.
func secret() string {
	b := make([]byte, 16)
	if _, err := rand.Read(b); err != nil {
		panic(err) // no random numbers: nothing here would be safe
	}
	return hex.EncodeToString(b)
}

// Listen opens the address, which must be one of this computer's own.
func Listen(address string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("--listen %q: write it as 127.0.0.1:PORT", address)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("--listen %q: the page is for this computer only; use 127.0.0.1:PORT, and --share for a phone", address)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("%w; choose another port with --listen 127.0.0.1:PORT", err)
	}
	return l, nil
}

// Serve answers on l until ctx ends.
func (d *Desk) Serve(ctx context.Context, l net.Listener) error {
	d.hosts.add(l.Addr().String())
	_, port, _ := net.SplitHostPort(l.Addr().String())
	d.hosts.add("localhost:" + port)
	return serve(ctx, l, d.Handler())
}

func serve(ctx context.Context, l net.Listener, h http.Handler) error {
	srv := &http.Server{
		Handler: h, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
		ReadTimeout: 10 * time.Minute, WriteTimeout: 15 * time.Minute, // a large photo over a slow wireless network
		ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError),
	}
	done := make(chan error, 1)
	go func() { done <- srv.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	if err := srv.Shutdown(end); err != nil {
		srv.Close()
	}
	return nil
}

func (d *Desk) load() error {
	if err := os.MkdirAll(filepath.Join(d.dir, "harvests"), 0o700); err != nil {
		return fmt.Errorf("the folder beside the book cannot be made (%w); choose another book with --book", err)
	}
	entries, err := os.ReadDir(filepath.Join(d.dir, "harvests"))
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.IsDir() || !idPattern.MatchString(e.Name()) {
			continue
		}
		h, err := readHarvest(d, e.Name())
		if err != nil {
			d.opt.Log.Error("a harvest folder cannot be read", "folder", e.Name(), "err", err)
			d.unread = append(d.unread, fmt.Sprintf("The harvest in the folder %s cannot be read (%v). Put a copy of its harvest.json back, or move the folder away.", filepath.Join(d.dir, "harvests", e.Name()), err))
			continue
		}
		d.harvests[h.ID] = h
	}
	return nil
}
