package report

// sheetTexts are the words of the bench sheet and the wall sheet.
type sheetTexts struct {
	Bench, BenchIntro, BenchSafety, Harvest, Date, By, Picture, Fruit, Plant, Note string
	Wall, WallFinding, WallKeep, WallPlants                                        string
	WallSeed, WallRoot, WallBitter, WallStrange, WallLeft, BenchOther              string
}

var sheetEnglish = sheetTexts{
	Bench: "Bench sheet", BenchIntro: "Write one observation in a box. Numbers are those of the report and of fruits.csv.",
	BenchSafety: "Before anyone tastes: an adult touches a raw piece the size of a rice grain to the tongue and spits it out. Children do not taste. Bitter: rinse the mouth and discard the whole fruit, do not cook it, feed it or keep its seed.",
	Harvest:     "Harvest", Date: "Date", By: "By", Picture: "Picture", Fruit: "Fruit", Plant: "Plant", Note: "Note",
	Wall: "What grew here", WallFinding: "In short", WallKeep: "Before you save seed", WallPlants: "Plants",
	WallSeed: "Keep no seed of off-type plants, nor of plants that flowered beside them.", WallRoot: "Plant no off-type root or bulb again for seed.",
	WallBitter: "Bitter fruit are poisonous. Do not eat, sell or feed them.", WallStrange: "Do not eat, sell or feed what you do not know.",
	WallLeft:   "Keep leftover seed and the packet until the supplier has answered.",
	BenchOther: "Before anyone tastes: do not taste what you do not know. Children do not taste.",
}
