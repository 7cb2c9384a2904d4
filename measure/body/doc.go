// Package body finds the true body of a fruit from its outline in one photo, or in several photos
// of the same undisturbed table: a solid of revolution about a straight or bent middle line, lying
// on the table.
//
// Frames and units are those of package geom: pixels with the centre of the top-left pixel at
// (0, 0), and the table frame in mm with Z up. Angles are in radians inside and in degrees in
// results. Station t or s runs along the middle line from 0 at the stem end to 1 at the blossom end.
//
// Every outline point is a viewing ray that must just touch the body. With
//
//	G(P) = |P − c(t)|² − ρ²(t),  (P − c(t))·c'(t) = 0
//
// (c the middle line, ρ the radius) a ray touches when the least G along it is 0, and G/|∇G| is its
// distance from touching in mm. Levenberg–Marquardt makes these distances small, together with the
// contact of the lowest point with the table, the tilt at rest, the places of stalk base and blossom
// scar in the picture, and a mild smoothness of the profile.
//
// It does not find outlines and knows nothing of files or pictures.
package body
