package desk

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
)

// shareRoutes are for the computer itself only.
func (d *Desk) shareRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /share", func(w http.ResponseWriter, r *http.Request) {
		d.show(w, r, "share", &page{Title: "Use a phone", Data: d.share.data()})
	})
	m.HandleFunc("POST /share", func(w http.ResponseWriter, r *http.Request) {
		var err error
		id, _ := strconv.Atoi(r.PostForm.Get("device"))
		switch r.PostForm.Get("do") {
		case "start":
			err = d.shareAt(r.PostForm.Get("address"))
		case "stop":
			d.share.stop()
		case "accept":
			d.share.decide(id, true)
		case "refuse":
			d.share.decide(id, false)
		}
		if err != nil {
			d.showStatus(w, r, http.StatusUnprocessableEntity, "share", &page{Title: "Use a phone", Problem: sentence(err.Error()), Data: d.share.data()})
			return
		}
		http.Redirect(w, r, "/share", http.StatusSeeOther)
	})
}

// onPhone marks requests of a phone.
type onPhone struct{}

// stranger marks requests of anybody in the network who was not let in: their pages hold no token.
type stranger struct{}

// phoneHandler answers phones: every view over TLS, sending photos only without.
func (d *Desk) phoneHandler(secure bool) http.Handler {
	views := d.routes(false)
	send := http.NewServeMux()
	send.HandleFunc("GET /{$}", d.sendView)
	send.HandleFunc("GET /send/{id}", d.withHarvest(d.sendTo))
	send.HandleFunc("POST /h/{id}/photos", d.withHarvest(d.upload))
	send.HandleFunc("GET /static/", views.ServeHTTP)
	send.HandleFunc("/", d.notFound)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x := d.share.of(r, secure)
		if x == nil || !x.Accepted {
			r = r.WithContext(context.WithValue(r.Context(), stranger{}, true))
		}
		switch {
		case r.URL.Path == "/join" && r.Method == http.MethodGet:
			d.joinPhone(w, r, secure)
		case strings.HasPrefix(r.URL.Path, "/static/") && r.Method == http.MethodGet:
			views.ServeHTTP(w, r)
		case x == nil:
			d.problem(w, r, http.StatusForbidden, errors.New("this phone is not known here; scan the code that the computer shows"))
		case !x.Accepted:
			d.showStatus(w, r, http.StatusAccepted, "waiting", &page{Title: "Waiting", Phone: true})
		case secure:
			views.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), onPhone{}, true)))
		default:
			send.ServeHTTP(w, r)
		}
	})
}

func (d *Desk) joinPhone(w http.ResponseWriter, r *http.Request, secure bool) {
	if d.share.of(r, secure) == nil {
		cookie, err := d.share.join(r.URL.Query().Get("t"), phoneName(r.UserAgent()), secure)
		if err != nil {
			d.problem(w, r, http.StatusForbidden, err)
			return
		}
		http.SetCookie(w, &http.Cookie{Name: cookieName(secure), Value: cookie, Path: "/", HttpOnly: true, Secure: secure, SameSite: http.SameSiteLaxMode})
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// phoneName tells phones apart in the list, no more.
func phoneName(agent string) string {
	if i := strings.Index(agent, "("); i >= 0 {
		if j := strings.Index(agent[i:], ")"); j > 0 {
			return agent[i+1 : i+j]
		}
	}
	return agent
}

// sendView lists the harvests that a phone without TLS can send photos to.
func (d *Desk) sendView(w http.ResponseWriter, r *http.Request) {
	d.show(w, r, "send", &page{Title: "Send photos", Phone: true, Data: map[string]any{"Harvests": d.harvestLines(r)}})
}

func (d *Desk) sendTo(w http.ResponseWriter, r *http.Request, h *harvest) {
	d.show(w, r, "send", &page{Title: "Send photos", Phone: true, Data: map[string]any{"ID": h.ID, "Name": h.Name}})
}
