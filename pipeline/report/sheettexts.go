package report

// sheetTexts are the words of the bench sheet and the wall sheet.
type sheetTexts struct {
	Bench, BenchIntro, BenchSafety, Harvest, Date, By, Picture, Fruit, Plant, Note string
	Wall, WallFinding, WallKeep, WallPlants                                        string
	WallCare                                                                       []string
}

var sheetEnglish = sheetTexts{
	Bench: "Bench sheet", BenchIntro: "Write one observation in a box. Numbers are those of the report and of fruits.csv.",
	BenchSafety: "Before anyone tastes: an adult touches a raw piece the size of a rice grain to the tongue and spits it out. Children do not taste. Bitter: rinse the mouth and discard the whole fruit, do not cook it, feed it or keep its seed.",
	Harvest:     "Harvest", Date: "Date", By: "By", Picture: "Picture", Fruit: "Fruit", Plant: "Plant", Note: "Note",
	Wall: "What grew here", WallFinding: "In short", WallKeep: "Before you save seed", WallPlants: "Plants",
	WallCare: []string{
		"Keep no seed of off-type plants, nor of plants that flowered beside them.", "Bitter fruit are poisonous. Do not eat, sell or feed them.", "Keep leftover seed and the packet until the supplier has answered.",
	},
}
