package exchange

import (
	"encoding/json"
	"fmt"
	"io"
)

type jsonFile struct {
	Format string                      `json:"format"`
	Tables map[string][]map[string]any `json:"tables"`
}

// jsonFormat names the layout: an object of tables, each a list of objects by column name.
const jsonFormat = "offtype tables 1"

// WriteJSON writes the tables as one JSON object; missing cells are left out.
func WriteJSON(w io.Writer, tables []Table) error {
	out := jsonFile{jsonFormat, map[string][]map[string]any{}}
	for _, t := range tables {
		rows := make([]map[string]any, len(t.Rows))
		for i, r := range t.Rows {
			m := map[string]any{}
			for j, v := range r {
				if v != nil {
					m[t.Fields[j].Name] = v
				}
			}
			rows[i] = m
		}
		out.Tables[t.Name] = rows
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	if err := e.Encode(out); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}

// ReadJSON reads what WriteJSON wrote, for the tables given (names and fields), up to 512 MB.
func ReadJSON(r io.Reader, tables []Table) ([]Table, error) {
	d := json.NewDecoder(&bounded{r, mostFile})
	d.UseNumber()
	var in jsonFile
	if err := d.Decode(&in); err != nil {
		return nil, fmt.Errorf("read JSON: %w", err)
	}
	if in.Format != jsonFormat {
		return nil, fmt.Errorf("read JSON: format %q, want %q", in.Format, jsonFormat)
	}
	known := map[string]bool{}
	out := make([]Table, len(tables))
	for i, t := range tables {
		known[t.Name] = true
		t.Rows = nil
		at := map[string]int{}
		for j, f := range t.Fields {
			at[f.Name] = j
		}
		for n, m := range in.Tables[t.Name] {
			row, err := jsonRow(t, at, m)
			if err != nil {
				return nil, fmt.Errorf("table %q row %d: %w", t.Name, n+1, err)
			}
			t.Rows = append(t.Rows, row)
		}
		out[i] = t
	}
	for name := range in.Tables {
		if !known[name] {
			return nil, fmt.Errorf("read JSON: table %q is not known", name)
		}
	}
	return out, nil
}

func jsonRow(t Table, at map[string]int, m map[string]any) ([]any, error) {
	row := make([]any, len(t.Fields))
	for name, v := range m {
		j, ok := at[name]
		if !ok {
			return nil, fmt.Errorf("column %q is not known", name)
		}
		var err error
		switch x := v.(type) {
		case nil:
		case string:
			switch f := t.Fields[j]; f.Type {
			case String:
				row[j] = x
			case Date, DateTime:
				row[j], err = parse(f, x)
			default:
				err = fmt.Errorf("column %q: %q is a text", name, x)
			}
			if err != nil {
				return nil, err
			}
		case bool:
			if t.Fields[j].Type != Boolean {
				return nil, fmt.Errorf("column %q: %v is no %s", name, x, t.Fields[j].Type)
			}
			row[j] = x
		case json.Number:
			if row[j], err = parse(t.Fields[j], x.String()); err != nil {
				return nil, err
			}
		default:
			return nil, fmt.Errorf("column %q: %T is not a cell", name, v)
		}
	}
	for j, f := range t.Fields {
		if row[j] == nil && f.Required {
			return nil, fmt.Errorf("column %q is missing", f.Name)
		}
	}
	return row, nil
}
