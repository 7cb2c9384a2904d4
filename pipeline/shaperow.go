package pipeline

import (
	"offtype/measure/body"
	"offtype/pipeline/record"
)

func shapeRow(f *record.Fruit, b *body.Body) {}
