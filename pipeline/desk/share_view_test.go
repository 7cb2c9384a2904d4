package desk

import (
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// networkOr returns this computer's address in a network, or loopback where it is in none.
func networkOr(t *testing.T) net.IP {
	ips, err := networkIPs()
	if err != nil {
		t.Logf("over loopback only: %v", err)
		return net.IPv4(127, 0, 0, 1)
	}
	return ips[0]
}

// keyPin is what a browser is told to trust one certificate by: SHA-256 of its public key, base64.
func keyPin(t *testing.T, d *Desk) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(d.dir, "phone.pem"))
	if err != nil {
		t.Fatal(err)
	}
	block, _ := pem.Decode(b)
	c, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(c.RawSubjectPublicKeyInfo)
	return base64.StdEncoding.EncodeToString(sum[:])
}

// What the computer and phones show while phones come in over the network, without a violation: one without
// TLS, which can send photos only, and one over TLS, which sees every view.
func TestPhoneViews(t *testing.T) {
	d, base := startDesk(t)
	if _, err := d.newHarvest("2026 squash"); err != nil {
		t.Fatal(err)
	}
	if err := d.shareOn(networkOr(t)); err != nil {
		t.Fatal(err)
	}
	u := newUser(t, base)
	v := d.share.data()
	u.base = ""
	u.open(v.Plain)
	u.until(`/Let it in/.test(document.body.innerText)`)
	u.look("phone-waiting")
	u.open(base + "/share")
	u.until(`/asks to come in/.test(document.body.innerText)`)
	u.look("share-on")
	d.share.decide(1, true)
	plain := "http://" + d.share.plain
	u.open(plain + "/")
	u.look("phone-harvests")
	u.open(plain + "/send/2026-squash")
	u.look("phone-send")
	u.do("send a photo", chromedp.SetUploadFiles("#files", []string{scenePath(t, "demo-2025-table-1.jpg")}))
	u.until(`/arrived/.test(document.getElementById("sending").innerText)`)

	p := &user{t: t, ctx: chromium(t, chromedp.Flag("ignore-certificate-errors-spki-list", keyPin(t, d))), shot: u.shot}
	p.open(d.share.data().Address)
	p.until(`/Let it in/.test(document.body.innerText)`)
	d.share.decide(2, true)
	p.until(`!/Let it in/.test(document.body.innerText)`) // it looks by itself
	p.base = "https://" + d.share.secure
	for _, x := range []struct{ name, path string }{{"phone-home", "/"}, {"phone-photos", "/h/2026-squash/photos"}, {"phone-plan", "/plan"}, {"phone-verdict", "/h/2026-squash/verdict"}} {
		p.open(x.path)
		p.look(x.name)
		if s := p.text(`document.body.innerText.includes("Use a phone")`); s != "false" {
			t.Errorf("%s leads to a view that phones do not have", x.path)
		}
	}
	p.open("/h/2026-squash/photos")
	p.do("send a photo", chromedp.SetUploadFiles("#files", []string{scenePath(t, "demo-2025-table-2.jpg")}))
	p.until(`document.querySelectorAll("#photolist .photo").length===2`)
	d.share.decide(2, false)
	ctx, cancel := context.WithTimeout(p.ctx, 10*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, chromedp.Navigate(p.base+"/")); err == nil && p.text(`/scan the code/.test(document.body.innerText)`) != "true" {
		t.Error("a phone that was put out still sees the page")
	}
}
