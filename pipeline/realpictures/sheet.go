package main

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"os"
	"path/filepath"

	"github.com/disintegration/imaging"
	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	pictures "offtype/pipeline/picture"
	"offtype/pipeline/segment"
)

const (
	tileW, tileH = 400, 300
	across       = 4
	perSheet     = 28
)

// sheet collects small pictures with outlines; a red frame marks a wrong count.
type sheet struct{ tiles []image.Image }

// add draws the outlines into out/NAME-outlines.jpg and keeps a small copy.
func (s *sheet) add(out, name string, im segment.Image, res *segment.Result, right bool) error {
	for _, st := range segment.Steps(im, res, 800) {
		if st.Name == "maps" || st.Name == "outlines" {
			if err := writeJPEG(filepath.Join(out, name+"-"+st.Name+".jpg"), st.Image); err != nil {
				return err
			}
		}
		if st.Name != "outlines" {
			continue
		}
		small := imaging.Fit(st.Image, tileW-8, tileH-8, imaging.CatmullRom)
		tile := image.NewRGBA(image.Rect(0, 0, tileW, tileH))
		frame := color.RGBA{255, 255, 255, 255}
		if !right {
			frame = color.RGBA{230, 0, 0, 255}
		}
		draw.Draw(tile, tile.Bounds(), image.NewUniform(frame), image.Point{}, draw.Src)
		at := image.Pt((tileW-small.Bounds().Dx())/2, (tileH-small.Bounds().Dy())/2)
		draw.Draw(tile, small.Bounds().Add(at), small, image.Point{}, draw.Src)
		draw.Draw(tile, image.Rect(4, 4, 12+7*len(name), 20), image.NewUniform(color.White), image.Point{}, draw.Src)
		d := font.Drawer{Dst: tile, Src: image.NewUniform(color.Black), Face: basicfont.Face7x13, Dot: fixed.P(8, 16)}
		d.DrawString(name)
		s.tiles = append(s.tiles, tile)
	}
	return nil
}

// write writes the overview sheets real-1.jpg ...
func (s *sheet) write(out string) error {
	for k := 0; k*perSheet < len(s.tiles); k++ {
		part := s.tiles[k*perSheet : min(len(s.tiles), (k+1)*perSheet)]
		o := image.NewRGBA(image.Rect(0, 0, across*tileW, (len(part)+across-1)/across*tileH))
		for i, t := range part {
			draw.Draw(o, t.Bounds().Add(image.Pt(i%across*tileW, i/across*tileH)), t, image.Point{}, draw.Src)
		}
		if err := writeJPEG(filepath.Join(out, fmt.Sprintf("real-%d.jpg", k+1)), o); err != nil {
			return err
		}
	}
	return nil
}

func writeJPEG(path string, im image.Image) error {
	data, err := pictures.JPEG(im, 75)
	if err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o644)
}
