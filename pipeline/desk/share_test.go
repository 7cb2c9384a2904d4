package desk

import (
	"crypto/tls"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"
)

// phoneClient is a phone: its own cookies, and the certificate's fingerprint compared by hand.
func phoneClient(t testing.TB, d *Desk, base string) *client {
	c := newClient(t, d, base)
	jar, _ := cookiejar.New(nil)
	c.http = &http.Client{Jar: jar, Timeout: patience, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyConnection: func(s tls.ConnectionState) error {
			if got := fingerprint(s.PeerCertificates[0].Raw); got != d.share.data().Print {
				t.Errorf("fingerprint %s is not the one shown", got)
			}
			return nil
		}}}}
	return c
}

// Over the network where this computer is in one.
func TestPhone(t *testing.T) {
	d, own := withHarvest(t)
	if err := d.shareOn(networkOr(t)); err != nil {
		t.Fatal(err)
	}
	v := d.share.data()
	secure, plain := "https://"+d.share.secure, "http://"+d.share.plain
	stranger := phoneClient(t, d, secure)
	for _, p := range []string{"/", "/h/2026-squash/photos", "/share", "/join?t=wrong", "/join"} {
		if s, b := stranger.get(p); s != http.StatusForbidden || strings.Contains(b, d.token) {
			t.Errorf("a phone without a token got %d for %s: %s", s, p, b)
		}
	}
	phone := phoneClient(t, d, secure)
	if s, b := phone.get(strings.TrimPrefix(v.Address, secure)); s != http.StatusSeeOther {
		t.Fatalf("joining: %d %s", s, b)
	}
	if s, _ := stranger.get(strings.TrimPrefix(v.Address, secure)); s != http.StatusForbidden {
		t.Errorf("a token was good twice: %d", s)
	}
	if s, b := phone.get("/h/2026-squash/photos"); s != http.StatusAccepted || !strings.Contains(b, "Let it in") || strings.Contains(b, d.token) {
		t.Errorf("before it was accepted: %d", s)
	}
	if s, b := phone.upload("2026-squash", "a.jpg", plainJPEG(t, 1)); s != http.StatusAccepted {
		t.Errorf("upload before it was accepted: %d %s", s, b)
	}
	if n := len(openDeskFiles(t, d)); n != 0 {
		t.Error("a phone that was not accepted has sent a photo")
	}
	if _, b := own.get("/share"); !strings.Contains(b, "asks to come in") {
		t.Error("the computer does not ask")
	}
	own.post("/share", url.Values{"do": {"accept"}, "device": {"1"}})
	for p, want := range map[string]int{"/": 200, "/h/2026-squash/photos": 200, "/h/2026-squash/verdict": 200, "/share": 404} {
		if s, _ := phone.get(p); s != want {
			t.Errorf("accepted phone, %s: %d, want %d", p, s, want)
		}
	}
	if s, b := phone.upload("2026-squash", "a.jpg", plainJPEG(t, 1)); s != http.StatusCreated {
		t.Errorf("upload from the phone: %d %s", s, b)
	}

	old := phoneClient(t, d, plain)
	if s, _ := old.get(strings.TrimPrefix(d.share.data().Plain, plain)); s != http.StatusSeeOther {
		t.Fatal("joining without TLS", s)
	}
	own.post("/share", url.Values{"do": {"accept"}, "device": {"2"}})
	for p, want := range map[string]int{"/": 200, "/send/2026-squash": 200, "/h/2026-squash/photos": 405, "/h/2026-squash/verdict": 404, "/book/lot": 404, "/share": 404} {
		if s, _ := old.get(p); s != want && !(want == 405 && s == 404) {
			t.Errorf("phone without TLS, %s: %d, want %d", p, s, want)
		}
	}
	if s, b := old.upload("2026-squash", "b.jpg", plainJPEG(t, 2)); s != http.StatusCreated {
		t.Errorf("upload without TLS: %d %s", s, b)
	}
	if s, _ := old.post("/table", url.Values{"name": {"x"}}); s == http.StatusSeeOther {
		t.Error("a phone without TLS made a harvest")
	}
	own.post("/share", url.Values{"do": {"refuse"}, "device": {"1"}})
	if s, _ := phone.get("/"); s != http.StatusForbidden {
		t.Errorf("after it was put out: %d", s)
	}
	own.post("/share", url.Values{"do": {"stop"}})
	if _, err := net.DialTimeout("tcp", strings.TrimPrefix(plain, "http://"), time.Second); err == nil {
		t.Error("still listening after the end of sharing")
	}
}

func TestOldTokenIsRefused(t *testing.T) {
	now := time.Date(2026, 10, 3, 12, 0, 0, 0, time.UTC)
	s := newSharing(func() time.Time { return now })
	s.renew()
	token := s.token
	now = now.Add(tokenLife + time.Second)
	if _, err := s.join(token, "phone", true); err == nil {
		t.Error("a token was taken after its time")
	}
	s.renew()
	if _, err := s.join(s.token, "phone", true); err != nil {
		t.Error(err)
	}
}
