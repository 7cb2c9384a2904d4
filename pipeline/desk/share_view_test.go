package desk

import (
	"net"
	"testing"
	"time"
)

// What the computer and a phone show while the phone comes in, without a violation.
func TestPhoneViews(t *testing.T) {
	d, base := startDesk(t)
	if _, err := d.newHarvest("2026 squash"); err != nil {
		t.Fatal(err)
	}
	if err := d.shareOn(net.IPv4(127, 0, 0, 1)); err != nil {
		t.Fatal(err)
	}
	u := newUser(t, base)
	v := d.share.data()
	u.base = ""
	u.open(v.Plain)
	u.until(`/Let it in/.test(document.body.innerText)`, 10*time.Second)
	u.look("phone-waiting")
	u.open(base + "/share")
	u.until(`/asks to come in/.test(document.body.innerText)`, 10*time.Second)
	u.look("share-on")
	d.share.decide(1, true)
	plain := "http://" + d.share.plain
	u.open(plain + "/")
	u.look("phone-harvests")
	u.open(plain + "/send/2026-squash")
	u.look("phone-send")
}
