package exchange

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the schema
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"offtype/pipeline/atomic"
)

// Package describes a Data Package.
type Package struct {
	Name        string // lower case, digits, ".", "-" and "_"
	Title       string
	Description string
	Version     string
	Created     string // RFC 3339
	Keywords    []string
	Tables      []Table
}

// descriptor is datapackage.json (Data Package standard, version 2.0).
type descriptor struct {
	Schema      string     `json:"$schema"`
	Name        string     `json:"name"`
	Title       string     `json:"title,omitempty"`
	Description string     `json:"description,omitempty"`
	Version     string     `json:"version,omitempty"`
	Created     string     `json:"created,omitempty"`
	Keywords    []string   `json:"keywords,omitempty"`
	Resources   []resource `json:"resources"`
}

type resource struct {
	Name        string      `json:"name"`
	Type        string      `json:"type"`
	Path        string      `json:"path"`
	Title       string      `json:"title,omitempty"`
	Description string      `json:"description,omitempty"`
	Format      string      `json:"format"`
	MediaType   string      `json:"mediatype"`
	Encoding    string      `json:"encoding"`
	Bytes       int         `json:"bytes"`
	Hash        string      `json:"hash"`
	Schema      tableSchema `json:"schema"`
}

type tableSchema struct {
	Fields        []fieldSchema `json:"fields"`
	MissingValues []string      `json:"missingValues"`
	PrimaryKey    []string      `json:"primaryKey,omitempty"`
	ForeignKeys   []foreignKey  `json:"foreignKeys,omitempty"`
}

type fieldSchema struct {
	Name        string       `json:"name"`
	Type        string       `json:"type"`
	Title       string       `json:"title,omitempty"`
	Description string       `json:"description,omitempty"`
	Unit        string       `json:"unit,omitempty"` // our addition: the standard lets properties be added
	Constraints *constraints `json:"constraints,omitempty"`
}

type constraints struct {
	Required bool     `json:"required,omitempty"`
	Enum     []string `json:"enum,omitempty"`
}

type foreignKey struct {
	Fields    []string `json:"fields"`
	Reference struct {
		Resource string   `json:"resource"`
		Fields   []string `json:"fields"`
	} `json:"reference"`
}

const profile = "https://datapackage.org/profiles/2.0/datapackage.json"

// descriptorSchema is our own transcription of the parts of profile 2.0 that are used here: names
// of properties, required ones, types and patterns.
//
//go:embed datapackage.schema.json
var descriptorSchema []byte

var compiled = sync.OnceValues(func() (*jsonschema.Schema, error) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(descriptorSchema))
	if err != nil {
		return nil, err
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("datapackage.schema.json", doc); err != nil {
		return nil, err
	}
	return c.Compile("datapackage.schema.json")
})

// CheckDescriptor checks the text of a datapackage.json against the standard.
func CheckDescriptor(text []byte) error {
	s, err := compiled()
	if err != nil {
		return err
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return fmt.Errorf("datapackage.json: %w", err)
	}
	if err := s.Validate(doc); err != nil {
		return fmt.Errorf("datapackage.json: %w", err)
	}
	return nil
}

// WritePackage writes datapackage.json and one CSV a table into dir, which is made and must be
// empty. The descriptor is written last: a folder without one is not finished.
func WritePackage(dir string, p Package) error {
	if old, err := os.ReadDir(dir); err == nil && len(old) > 0 {
		return fmt.Errorf("write data package: folder %q is not empty; name a new one", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("write data package: %w", err)
	}
	d := descriptor{Schema: profile, Name: p.Name, Title: p.Title, Description: p.Description, Version: p.Version, Created: p.Created, Keywords: p.Keywords}
	for _, t := range p.Tables {
		var b bytes.Buffer
		if err := WriteCSV(&b, t); err != nil {
			return fmt.Errorf("write data package: %w", err)
		}
		file := t.Name + ".csv"
		if err := atomic.WriteBytes(filepath.Join(dir, file), b.Bytes()); err != nil {
			return fmt.Errorf("write data package: %w", err)
		}
		sum := sha256.Sum256(b.Bytes())
		d.Resources = append(d.Resources, resource{
			Name: t.Name, Type: "table", Path: file, Title: t.Title, Description: t.Description, Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
			Bytes: b.Len(), Hash: "sha256:" + hex.EncodeToString(sum[:]), Schema: schemaOf(t),
		})
	}
	text, err := json.MarshalIndent(d, "", " ")
	if err != nil {
		return fmt.Errorf("write data package: %w", err)
	}
	if err := CheckDescriptor(text); err != nil {
		return fmt.Errorf("write data package: %w", err)
	}
	return atomic.WriteBytes(filepath.Join(dir, "datapackage.json"), append(text, '\n'))
}

func schemaOf(t Table) tableSchema {
	s := tableSchema{MissingValues: []string{""}, PrimaryKey: t.PrimaryKey}
	for _, f := range t.Fields {
		x := fieldSchema{Name: f.Name, Type: string(f.Type), Title: f.Title, Description: f.Description, Unit: f.Unit}
		// An empty text is missing to a reader of CSV, so only other types can be required.
		if req := f.Required && f.Type != String; req || len(f.Enum) > 0 {
			x.Constraints = &constraints{Required: req, Enum: f.Enum}
		}
		s.Fields = append(s.Fields, x)
	}
	for _, k := range t.ForeignKeys {
		var x foreignKey
		x.Fields = []string{k.Field}
		x.Reference.Resource, x.Reference.Fields = k.Resource, []string{k.Key}
		s.ForeignKeys = append(s.ForeignKeys, x)
	}
	return s
}

// ReadPackage reads the tables given (names and fields) from the package in dir; tables that are
// not part of it come back empty, further ones are left alone. Hashes are checked.
func ReadPackage(dir string, tables []Table) ([]Table, error) {
	text, err := atomic.Read(filepath.Join(dir, "datapackage.json"), atomic.MostText)
	if err != nil {
		return nil, fmt.Errorf("read data package: %w", err)
	}
	if err := CheckDescriptor(text); err != nil {
		return nil, fmt.Errorf("read data package: %w", err)
	}
	var d descriptor
	if err := json.Unmarshal(text, &d); err != nil {
		return nil, fmt.Errorf("read data package: %w", err)
	}
	at := map[string]resource{}
	for _, r := range d.Resources {
		at[r.Name] = r
	}
	out := make([]Table, len(tables))
	for i, t := range tables {
		t.Rows = nil
		if r, ok := at[t.Name]; ok {
			if t, err = readResource(dir, r, t); err != nil {
				return nil, fmt.Errorf("read data package: %w", err)
			}
		}
		out[i] = t
	}
	return out, nil
}

func readResource(dir string, r resource, t Table) (Table, error) {
	if !filepath.IsLocal(r.Path) || strings.Contains(r.Path, "://") {
		return t, fmt.Errorf("table %q: path %q leads out of the folder", r.Name, r.Path)
	}
	b, err := atomic.Read(filepath.Join(dir, filepath.FromSlash(r.Path)), mostFile)
	if err != nil {
		return t, fmt.Errorf("table %q: %w", r.Name, err)
	}
	if r.Hash != "" {
		sum := sha256.Sum256(b)
		if want, ok := strings.CutPrefix(r.Hash, "sha256:"); ok && !strings.EqualFold(want, hex.EncodeToString(sum[:])) {
			return t, fmt.Errorf("table %q: file %q was changed after it was written (its SHA-256 differs); take the line %q out of datapackage.json if that was meant", r.Name, r.Path, "hash")
		}
	}
	return ReadCSV(bytes.NewReader(b), t)
}
