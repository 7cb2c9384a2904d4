package photo

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"slices"
)

// maxICC bounds an embedded colour profile; those of cameras and phones have 0.5 to 600 kB.
const maxICC = 4 << 20

// jpegSegments is what stands before the pixels of a JPEG.
type jpegSegments struct {
	icc        []byte
	adobe      bool
	components int
}

// walkJPEG calls visit for each segment before the first scan until it returns false.
func walkJPEG(data []byte, visit func(marker byte, body []byte) bool) {
	for at := 2; at+4 <= len(data); {
		if data[at] != 0xFF {
			at++
			continue
		}
		m := data[at+1]
		if m == 0xFF || m == 0x00 || m == 0x01 || m >= 0xD0 && m <= 0xD8 {
			at++
			continue
		}
		if m == 0xDA || m == 0xD9 {
			return
		}
		n := int(binary.BigEndian.Uint16(data[at+2:]))
		if n < 2 || at+2+n > len(data) || !visit(m, data[at+4:at+2+n]) {
			return
		}
		at += 2 + n
	}
}

func isFrame(m byte) bool {
	return m >= 0xC0 && m <= 0xCF && m != 0xC4 && m != 0xC8 && m != 0xCC
}

// hasJPEGFrame reports whether the segment with the size was reached.
func hasJPEGFrame(data []byte) bool {
	found := false
	walkJPEG(data, func(m byte, _ []byte) bool {
		found = found || isFrame(m)
		return !found
	})
	return found
}

// readJPEGSegments collects the colour profile (ICC.1:2022 annex B.4: chunks in APP2), the Adobe
// marker and the number of channels.
func readJPEGSegments(data []byte) (s jpegSegments) {
	const tag = "ICC_PROFILE\x00"
	chunks := map[byte][]byte{}
	total := byte(0)
	walkJPEG(data, func(m byte, body []byte) bool {
		switch {
		case m == 0xE2 && bytes.HasPrefix(body, []byte(tag)) && len(body) > len(tag)+2:
			chunks[body[len(tag)]] = body[len(tag)+2:]
			total = body[len(tag)+1]
		case m == 0xEE && bytes.HasPrefix(body, []byte("Adobe")):
			s.adobe = true
		case isFrame(m) && len(body) > 5:
			s.components = int(body[5])
		}
		return true
	})
	var profile []byte
	for i := 1; i <= int(total); i++ {
		part, ok := chunks[byte(i)]
		if !ok || len(profile)+len(part) > maxICC {
			return s
		}
		profile = append(profile, part...)
	}
	s.icc = profile
	return s
}

// pngICC reads the iCCP chunk (PNG, third edition, 11.3.2.3); nil when there is none.
func pngICC(data []byte) []byte {
	for at := 8; at+12 <= len(data); {
		n := int(binary.BigEndian.Uint32(data[at:]))
		if n < 0 || n > len(data)-at-12 {
			return nil
		}
		body := data[at+8 : at+8+n]
		switch string(data[at+4 : at+8]) {
		case "iCCP":
			name := bytes.IndexByte(body, 0)
			if name < 0 || len(body) < name+2 {
				return nil
			}
			z, err := zlib.NewReader(bytes.NewReader(body[name+2:]))
			if err != nil {
				return nil
			}
			profile, err := io.ReadAll(io.LimitReader(z, maxICC+1))
			if err != nil || len(profile) > maxICC {
				return nil
			}
			return profile
		case "IDAT":
			return nil
		}
		at += 12 + n
	}
	return nil
}

// webpChunk returns the body of the first chunk of an extended WebP with the given name, such as
// "ICCP" or "EXIF"; nil when there is none.
func webpChunk(data []byte, name string) []byte {
	for at := 12; at+8 <= len(data); {
		n := int(binary.LittleEndian.Uint32(data[at+4:]))
		if n < 0 || n > len(data)-at-8 {
			return nil
		}
		if string(data[at:at+4]) == name {
			return data[at+8 : at+8+n]
		}
		at += 8 + n + n&1
	}
	return nil
}

// tiffTag is an entry of the first directory of a TIFF.
type tiffTag struct {
	id    uint16
	count uint32
	value []byte // the four bytes of the entry
}

// tiffTags reads the first directory (TIFF 6.0, section 2).
func tiffTags(data []byte) (tags []tiffTag, order binary.ByteOrder) {
	if len(data) < 8 {
		return nil, binary.LittleEndian
	}
	order = binary.LittleEndian
	if data[0] == 'M' {
		order = binary.BigEndian
	}
	at := uint64(order.Uint32(data[4:]))
	if at+2 > uint64(len(data)) {
		return nil, order
	}
	n := uint64(order.Uint16(data[at:]))
	for i := range n {
		p := at + 2 + 12*i
		if p+12 > uint64(len(data)) {
			break
		}
		tags = append(tags, tiffTag{order.Uint16(data[p:]), order.Uint32(data[p+4:]), data[p+8 : p+12]})
	}
	return tags, order
}

// tiffICC reads tag 34675; nil when there is none.
func tiffICC(data []byte) []byte {
	tags, order := tiffTags(data)
	for _, t := range tags {
		if t.id != 34675 || t.count < 128 || t.count > maxICC {
			continue
		}
		at := uint64(order.Uint32(t.value))
		if at+uint64(t.count) <= uint64(len(data)) {
			return data[at : at+uint64(t.count)]
		}
	}
	return nil
}

// isRawTIFF recognises raw camera files in TIFF's clothes: their first picture is a thumbnail. It
// looks for the DNG version tag, sub-directories without picture data of full size, and the mark
// of CR2.
func isRawTIFF(data []byte) bool {
	if len(data) > 10 && string(data[8:10]) == "CR" {
		return true
	}
	tags, _ := tiffTags(data)
	return slices.ContainsFunc(tags, func(t tiffTag) bool { return t.id == 50706 })
}

// plausibleProfile checks the counts and sizes in a colour profile before it is read: the reader
// allocates what they say, and running out of memory cannot be caught. (ICC.1:2022, 7.2, 7.3 for
// the header and table of tags; 10.6, 10.12 for curves and tables of colours.)
func plausibleProfile(data []byte) bool {
	if len(data) < 132 || len(data) > maxICC {
		return false
	}
	be := binary.BigEndian
	n := int(be.Uint32(data[128:]))
	end := 132 + 12*n
	if n > 200 || end > len(data) {
		return false
	}
	for at := 132; at < end; at += 12 {
		from, size := uint64(be.Uint32(data[at+4:])), uint64(be.Uint32(data[at+8:]))
		if from < uint64(end) || from+size > uint64(len(data)) || !plausibleTag(data[from:from+size]) {
			return false
		}
	}
	// Curves also stand inside other tags.
	for rest := data; ; {
		i := bytes.Index(rest, []byte("curv"))
		if i < 0 || len(rest) < i+12 {
			return true
		}
		if uint64(be.Uint32(rest[i+8:]))*2 > uint64(len(data)) {
			return false
		}
		rest = rest[i+4:]
	}
}

// plausibleTag checks the table of colours in a tag that holds one: its numbers have 1 or 2 bytes.
func plausibleTag(tag []byte) bool {
	if len(tag) < 32 || string(tag[:4]) != "mAB " && string(tag[:4]) != "mBA " {
		return true
	}
	at := uint64(binary.BigEndian.Uint32(tag[24:]))
	if at == 0 {
		return true
	}
	if at+20 > uint64(len(tag)) {
		return false
	}
	return tag[at+16] == 1 || tag[at+16] == 2
}
