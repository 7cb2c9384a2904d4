package desk

import (
	"context"
	"crypto/subtle"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sort"
	"strings"
	"sync"
	"time"

	"github.com/boombuler/barcode/qr"
)

// sharing lets a phone on the same network in: over TLS for every view, without TLS for sending
// photos only. A phone comes with a one-time token from the code on the screen and waits until the
// computer accepts it. All that is forgotten when the program ends.
type sharing struct {
	now func() time.Time

	mu      sync.Mutex
	cancel  context.CancelFunc // nil: not sharing
	done    sync.WaitGroup
	secure  string // address with TLS, ip:port
	plain   string // address without
	print   string // fingerprint of the certificate
	token   string // one-time, of the code shown now
	until   time.Time
	devices map[string]*device // by cookie
	next    int
}

// device is a phone that asked to come in.
type device struct {
	ID       int
	Name     string
	Secure   bool
	Accepted bool
	Since    time.Time
}

const (
	tokenLife  = 10 * time.Minute
	maxDevices = 20
	securePort = "7891"
	plainPort  = "7892"
)

// cookieName differs with and without TLS: cookies know no ports, and a browser does not let a page without TLS
// replace a cookie that came over TLS.
func cookieName(secure bool) string {
	if secure {
		return "__Host-offtype-phone"
	}
	return "offtype-phone"
}

func newSharing(now func() time.Time) *sharing {
	return &sharing{now: now, devices: map[string]*device{}}
}

// Share starts sharing on the likeliest address of this computer in its networks.
func (d *Desk) Share() error { return d.shareAt("") }

// shareAt starts sharing on one of this computer's addresses; empty means the likeliest.
func (d *Desk) shareAt(address string) error {
	ips, err := networkIPs()
	if err != nil {
		return err
	}
	for _, ip := range ips {
		if address == "" || ip.String() == address {
			return d.shareOn(ip)
		}
	}
	return errors.New("this computer has no such address any more; load the page again")
}

func (d *Desk) shareOn(ip net.IP) error {
	s := d.share
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cancel != nil {
		return nil
	}
	cert, print, err := ownCertificate(d.dir, ip, d.opt.Now())
	if err != nil {
		return fmt.Errorf("the certificate for the phone cannot be made: %w", err)
	}
	secure, err := listenAt(ip, securePort)
	if err != nil {
		return fmt.Errorf("this computer does not let a phone in (%w); check its firewall", err)
	}
	plain, err := listenAt(ip, plainPort)
	if err != nil {
		secure.Close()
		return fmt.Errorf("this computer does not let a phone in (%w); check its firewall", err)
	}
	ctx, cancel := context.WithCancel(d.ctx)
	s.cancel, s.secure, s.plain, s.print = cancel, secure.Addr().String(), plain.Addr().String(), print
	s.renew()
	for _, l := range []struct {
		l      net.Listener
		secure bool
	}{{tls.NewListener(secure, &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}), true}, {plain, false}} {
		hosts := newHostList()
		hosts.add(l.l.Addr().String())
		h := d.guard(hosts, d.phoneHandler(l.secure))
		s.done.Add(1)
		go func() {
			defer s.done.Done()
			serve(ctx, l.l, h)
		}()
	}
	return nil
}

// renew makes a new one-time token; the caller holds mu.
func (s *sharing) renew() { s.token, s.until = secret(), s.now().Add(tokenLife) }

func (s *sharing) stop() {
	s.mu.Lock()
	cancel := s.cancel
	s.cancel, s.secure, s.plain, s.token = nil, "", "", ""
	s.devices = map[string]*device{}
	s.mu.Unlock()
	if cancel != nil {
		cancel()
	}
	s.done.Wait()
}

// join lets a phone with the right token wait for the computer; the token is used up.
func (s *sharing) join(token, name string, secure bool) (cookie string, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.token == "" || subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) != 1 || s.now().After(s.until) {
		return "", errors.New("this code was used already or is too old; scan the code that the computer shows now")
	}
	if len(s.devices) >= maxDevices {
		return "", errors.New("too many phones; stop sharing on the computer and start it again")
	}
	s.renew()
	cookie = secret()
	s.next++
	s.devices[cookie] = &device{ID: s.next, Name: oneLine(name, 80), Secure: secure, Since: s.now()}
	return cookie, nil
}

// of returns the phone of a request, nil when it is not known. A cookie given over TLS does not
// count without TLS, and the other way round.
func (s *sharing) of(r *http.Request, secure bool) *device {
	c, err := r.Cookie(cookieName(secure))
	if err != nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	x := s.devices[c.Value]
	if x == nil || x.Secure != secure {
		return nil
	}
	y := *x
	return &y
}

// decide accepts or refuses a waiting phone.
func (s *sharing) decide(id int, accept bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for c, x := range s.devices {
		switch {
		case x.ID != id:
		case accept:
			x.Accepted = true
		default:
			delete(s.devices, c)
		}
	}
}

type shareData struct {
	On               bool
	Address, Plain   string
	QR, PlainQR      string
	Side, PlainSide  int
	Print            string
	Choice           []string // addresses to choose from, when there are several
	Computer         string   // address that is shared
	Waiting, Allowed []device
}

func (s *sharing) data() shareData {
	s.mu.Lock()
	defer s.mu.Unlock()
	v := shareData{On: s.cancel != nil}
	if !v.On {
		if ips, err := networkIPs(); err == nil && len(ips) > 1 {
			for _, ip := range ips {
				v.Choice = append(v.Choice, ip.String())
			}
		}
		return v
	}
	v.Computer, _, _ = net.SplitHostPort(s.secure)
	if s.now().After(s.until) {
		s.renew()
	}
	v.Address, v.Plain, v.Print = "https://"+s.secure+"/join?t="+s.token, "http://"+s.plain+"/join?t="+s.token, s.print
	v.QR, v.Side = qrPath(v.Address)
	v.PlainQR, v.PlainSide = qrPath(v.Plain)
	for _, x := range s.devices {
		if x.Accepted {
			v.Allowed = append(v.Allowed, *x)
		} else {
			v.Waiting = append(v.Waiting, *x)
		}
	}
	for _, l := range [][]device{v.Waiting, v.Allowed} {
		sort.Slice(l, func(i, j int) bool { return l[i].ID < l[j].ID })
	}
	return v
}

// qrPath draws text as a QR code: an SVG path of unit squares, and the side with its quiet zone of 4.
func qrPath(text string) (path string, side int) {
	m, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return "", 0
	}
	b := m.Bounds()
	var s strings.Builder
	for y := range b.Dy() {
		for x := range b.Dx() {
			if r, _, _, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA(); r == 0 {
				fmt.Fprintf(&s, "M%d %dh1v1h-1z", x+4, y+4)
			}
		}
	}
	return s.String(), b.Dx() + 8
}
