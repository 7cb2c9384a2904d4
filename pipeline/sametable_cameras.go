package pipeline

import (
	"offtype/measure/body"
	"offtype/measure/camera"
)

// joined is one fruit of a table with all that its photos say of it.
type joined struct {
	group []seen
	best  seen
	views []body.View
	photo []*Part // of each view, with outlines
	body  *body.Body
	err   error
}

// fitTable fits one body to all views of each fruit that two or more photos show; a tip that no view shows from the side
// takes after those of the table's look-alikes.
func fitTable(groups [][]seen, o *Options) []joined {
	all := fitViews(groups, o)
	bodies := make([]*body.Body, len(all))
	for i := range all {
		bodies[i] = all[i].body
	}
	body.Alike(bodies)
	return all
}

// fitViews fits the bodies, then moves the photos' cameras, within what the card leaves open, to where all these outlines
// agree, and fits again. The moved cameras are kept only where the outlines then lie closer to the bodies.
func fitViews(groups [][]seen, o *Options) []joined {
	all := make([]joined, len(groups))
	for i, g := range groups {
		j := &all[i]
		j.group, j.best = g, bestView(g)
		if len(g) > 1 {
			j.views, j.photo = viewsOf(g, j.best)
			j.body, j.err = body.Fit(j.views, body.Options{Pose: body.Pose(o.Pose)})
		}
	}
	var photos []*Part
	place := map[*Part]int{}
	var shots []body.Shot
	var bodies []*body.Body
	var where [][]int
	for i := range all {
		j := &all[i]
		if j.body == nil || j.body.Pose != body.Side {
			continue
		}
		var at []int
		for k, p := range j.photo {
			if _, ok := place[p]; !ok {
				place[p] = len(photos)
				photos = append(photos, p)
				shots = append(shots, body.Shot{Camera: j.views[k].Camera, Modes: j.views[k].Perturbed})
			}
			at = append(at, place[p])
		}
		bodies, where = append(bodies, j.body), append(where, at)
	}
	moved, ok := body.RefineTable(bodies, shots, where)
	if !ok {
		return all
	}
	again := make([]joined, len(all))
	before, after := 0.0, 0.0
	for i := range all {
		again[i] = all[i]
		j := &again[i]
		if j.body == nil {
			continue
		}
		j.views = append([]body.View(nil), j.views...)
		for k, p := range j.photo {
			if v, ok := place[p]; ok {
				j.views[k].Camera, j.views[k].Perturbed = moved[v].Camera, append([]camera.Camera(nil), moved[v].Modes...)
			}
		}
		if j.body, j.err = body.Fit(j.views, body.Options{Pose: body.Pose(o.Pose)}); j.body == nil {
			return all
		}
		before += all[i].body.ResidualPx * all[i].body.ResidualPx
		after += j.body.ResidualPx * j.body.ResidualPx
	}
	if after > before {
		return all
	}
	return again
}
