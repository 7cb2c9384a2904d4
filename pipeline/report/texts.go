package report

// texts are the words of the page, in one place, so that another language is another value.
type texts struct {
	Lang, Kicker, KickerTable, Contents, Groups, GroupsIntro, GroupsFound, GroupsGiven, Plants, Plant, Photos, Photo, Fruit, FruitIntro, Verdict, Why string
	Next, Sure, ReadCautions, PhotoIntro                                                                                                              string
	Cautions, Method, Limits, LookAt, OneScale, State, Card, Scale, Tilt, Height, CardFit, ColourFit                                                  string
	NoScale, SomeUnscaled, UnscaledShort, UnscaledNote, StripMore                                                                                     string
	FruitHead                                                                                                                                         []string
	ScaleFrom                                                                                                                                         [4]string // card, coin or line, no scale, table
	MethodText, LimitText                                                                                                                             []string
	Like                                                                                                                                              *likeTexts
}

var english = texts{
	Like: &likeEnglish,
	Next: "What to do next", Sure: "How sure is it?", ReadCautions: "Read the cautions before anyone eats, feeds, sells or keeps seed of these fruit.",
	PhotoIntro: "▲ off-type, ◆ doubtful, ? outline not sure. The number is the number of the fruit on its photo. Thin lines: length and width. The scale card and the plant tags have a dashed border.",
	Lang:       "en", Kicker: "Harvest check from photos", KickerTable: "Harvest check from a table of numbers", Contents: "Contents", Groups: "Groups", Plants: "Plants", Plant: "Plant",
	Photos: "Photos", Photo: "Photo", Fruit: "Fruit", Verdict: "Verdict", Why: "Why", Cautions: "Cautions", Method: "How it was measured",
	Limits: "What photos cannot tell", LookAt: "Please look at this", OneScale: "All cut-outs are at one scale, stem end up.",
	State: "State", Card: "Card", Scale: "mm a pixel", Tilt: "Tilt", Height: "Camera height", CardFit: "Card fit, px", ColourFit: "Colour fit, ΔE00",
	StripMore:    "and %d more below",
	NoScale:      "No scale: sizes unknown. Each fruit is drawn to fit, stem end up.",
	SomeUnscaled: "Fruit marked “no scale” are drawn to fit: their sizes are unknown.", UnscaledShort: "no scale", UnscaledNote: "no scale: sizes and colours unknown",
	GroupsIntro: "Fruit that look alike stand in one row.",
	GroupsFound: "The number of groups was not given: it was found from size, shape, colour and pattern.", GroupsGiven: "%s: that many were asked for, so that like fruit may be parted or unlike fruit joined.",
	FruitIntro: "± is the expanded uncertainty (k = 2): it is meant to hold the true value 19 times in 20; that of a length holds less often where an end faces away from the camera. Empty means not measured. Colours are CIELAB, white %s, 2° observer: L is lightness, a runs from green to red, b from blue to yellow. ΔE00 is the size of a colour difference: 1 is hardly seen side by side, 10 is plain to see.",
	FruitHead:  []string{"Photo", "No.", "Plant", "Group", "Length, mm", "Width, mm", "Length / width", "Shape", "Skin colour", "Pattern", "Verdict", "Notes"},
	ScaleFrom: [4]string{
		"The printed scale card gives the scale, the place of the camera and the colour of the light.",
		"In a photo without a card a coin or a line of known length gives the scale: its sizes are less certain and its colours doubtful.",
		"A photo without any scale gives shapes and patterns only.",
		"The numbers come from a table, not from photos.",
	},
	MethodText: []string{
		"Each fruit is outlined without its stalk. A rounded body that rests on the table is fitted to the outline as the camera saw it, so that a fruit near the edge of the picture is not read too large.",
		"Length runs along the straight line from the base of the stalk to the blossom end. Width is the greatest diameter across it. The skin colour is the main colour: what is left when marks, the spot where it lay on the soil, shine and the stalk are taken away.",
		"Groups are found with a mixture model. It may also find that all fruit are one group. Verdicts compare each fruit, plant and group with the variety's description. All fruit of one plant come from the same mother plant, so the seed lot is counted in plants.",
	},
	LimitText: []string{
		"A photo shows the outside. It cannot tell bitterness, flesh, rind hardness or seed maturity.",
		"One side of the fruit is hidden. A mark on the underside is not seen.",
		"Few plants give a wide interval. A clean result on few plants is weak evidence of a clean seed lot.",
		"This year's fruit say nothing about who pollinated them. That shows in the plants grown from their seed.",
		"This is what grew and what was measured. It is not a laboratory purity test and not a legal finding.",
	},
}
