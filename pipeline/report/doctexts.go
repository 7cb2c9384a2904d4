package report

import "offtype/pipeline/record"

// docTexts are the words of the measurement report, the bench sheet and the wall sheet, in one place: another language is
// another value. %s and %d are filled in the order they stand.
type docTexts struct {
	Lang, Title, TitleOf, Kicker, PageOf, Contents string

	OneFruit, ManyFruit, OnePlant, ManyPlants, OneGroup, ManyGroups, OnePhoto, ManyPhotos string
	FruitN, PlantN, PlantsN, GroupN, NoN, FruitOf, FruitAlone, NotJudged                  string

	SheetPlant, AnnexOffFirst                                                     string
	Finding, DifferOne, DifferMany, FindPlants, FindBetween, FindTaught           string
	FindOpen, FindNothing, FindStray, FindStrays, FindLots, LotOff, FindVouched   string
	LotUnknown, FindUnsure, FindFruit, Span, FindRest, FindGroups                 string
	NoFruit                                                                       string
	FruitMeasured, PlantsSeen, PlantsJudged, GroupsFound, OffPlants, UnsurePlants string
	Grower, Contact, Variety, DescriptionVersion, DescriptionSource               string
	Supplier, SeedLot, OwnCode, SeedKind, Packet, Bought, Sown                    string
	SeedsSown, Germinated, Harvest, Picked, Bed, PhotosTaken, Controls            string
	OneOff, ManyOff, SeedLeft, Written, NotEntered, NotTitle                      string
	Not                                                                           []string
	FoundPart, SideIntro, SideAlt, Groups, Plants, NoDescription                  string
	NoPlants, ItemPlants, ControlMark, Described, LeastMost                       string
	GroupHead, PlantHead                                                          []string
	PhotoPart, PhotoIntro, PhotosLeftOut, PhotoCaption                            string
	PhotoScale, PhotoColour, PhotoAlt                                             string
	GroupPart, GroupIntro, TypicalIs, RowOf, RowAlt, Leaning                      string
	SheetAlt, NoOutline, NoScale, ScaleIs, Profile, BoxIs, NotMeasured            string
	NoScaleShort, NoSize, NoCard, SideSome, RowNoScale, TypicalNoScale            string
	SideAltNoScale, RowAltNoScale, PhotoNoScale                                   string
	Colours, MainColour, SecondColour, ShareOfSkin, WhiteIs                       string
	Skin, Pattern, ShapeWords, OtherThan                                          string
	UpTo, From, Within, WithinU, Above, Below                                     string
	TraitHead, GroupTraitHead, HandHead, IndexHead, PhotoHead, HashHead           []string
	HandPart, Reasons, Notes, Alone, TooLittle, Probability, OutlineUnsure        string
	AnnexPart, AnnexIntro, AnnexLines, SheetsLeftOut                              string
	TraitPart, DotIntro, DotBand, DotAlt, ColourPlot, ColourAlt                   string
	ColourCaption, AxisA                                                          string
	LotPart, RateHere, RateLot, RateInterval, Rule, RuleText, RuleWithin          string
	RuleOutside, RuleOpen, RuleTitle, OtherPart, OtherIntro                       string
	ControlsWere, ControlsLate, RuleOwn, NoControls                               string
	RuleIs, Others, Advice, Keep                                                  []string
	AdvicePart, KeepPart, KeepIntro, Cautions, HarvestNotes                       string
	MethodPart, Drawn, Program, VersionPart, NoPhotos                             string
	CardTable, CardIntro, HashPart, HashIntro                                     string
	Traits, Patterns                                                              map[string]string
	Poses                                                                         map[record.Pose]string
	Verdicts                                                                      map[record.Verdict]string
	States                                                                        map[record.Status]string
	Sheet                                                                         sheetTexts
	Like                                                                          *likeTexts
	Page                                                                          *texts // words shared with the page of a run
}

var docEnglish = docTexts{
	Lang: "en", Title: "Measurement report of a harvest", TitleOf: "Measurement report: %s", Kicker: "What grew from this seed, measured on photos", PageOf: "Page %d of {nb}", Contents: "Contents",
	OneFruit: "fruit", ManyFruit: "fruit", OneOff: "off-type", ManyOff: "off-types", OnePlant: "plant", ManyPlants: "plants", OneGroup: "group", ManyGroups: "groups", OnePhoto: "photo", ManyPhotos: "photos",
	FruitN: "fruit %d", PlantN: "plant %s", PlantsN: "plants %s", GroupN: "Group %d", NoN: "no. %d", FruitOf: "Fruit %d of %s", FruitAlone: "Fruit %d", NotJudged: "%d of them not judged",
	Finding: "Finding", SheetPlant: "%s, plant %s",
	DifferOne: "differs", DifferMany: "differ",
	FindOpen: "Of %s seen none could be called true to type or off-type. If these plants are a fair sample, the share of off-types in the whole seed lot lies between %s and %s (%s confidence).",
	FindLots: "But these plants are of %d seed lots: %s. The rate counts all of them together and is that of none.", LotOff: "%s: %d off-type of %s", LotUnknown: "lot not written down",
	FindStray:     "Not in this count: 1 fruit that is off-type by itself, without a plant number or on a plant that is not off-type.",
	FindStrays:    "Not in this count: %d fruit that are off-type by themselves, without a plant number or on plants that are not off-type.",
	FindNothing:   "Nothing could be judged.",
	FindPlants:    "%d of %s %s clearly from the variety's description (%s)%s. If these plants are a fair sample, the share in the whole seed lot lies between %s and %s (%s confidence).",
	FindBetween:   "Between %d and %d of %s differ clearly from the variety's description: the fruit carry no plant numbers, so that one plant may have borne all fruit of a group, or each another. If these plants are a fair sample, the share in the whole seed lot lies between %s and %s (%s confidence).",
	FindVouched:   "%d of %s %s clearly from the variety's description.",
	FindTaught:    "The description was learnt from %s of this harvest: true by the grower's word, and no evidence on the seed lot.",
	Span:          "%s to %s",
	FindUnsure:    "%d more could not be decided.",
	FindFruit:     "%d of %s %s clearly from the variety's description. The fruit could not be counted by plant, so no rate is given for the seed lot.",
	FindRest:      "Not judged: %s, cut by the picture's edge, not measured or set aside.",
	FindGroups:    "%s in %s. There was no description of the variety to compare with, so nothing is called off-type.",
	NoFruit:       "No fruit was measured.",
	FruitMeasured: "fruit measured", PlantsSeen: "plants seen", PlantsJudged: "plants judged", GroupsFound: "groups found", OffPlants: "off-type plants", UnsurePlants: "plants not decided",
	Grower: "Grower", Contact: "Contact", Variety: "Variety", DescriptionVersion: "Description version", DescriptionSource: "Description from", Supplier: "Supplier", SeedLot: "Seed lot", OwnCode: "own code",
	SeedKind: "Seed", Packet: "On the packet", Bought: "Bought", Sown: "Sown", SeedsSown: "seeds", Germinated: "germinated", Harvest: "Harvest", Picked: "picked", Bed: "bed", PhotosTaken: "Photos",
	Controls: "Control plants", SeedLeft: "Seed kept back", Written: "Report written", NotEntered: "Not entered: %s. Fill in by hand what you know.",
	NotTitle: "What this is not",
	Not: []string{
		"This is not a laboratory test and not a legal finding. It states what grew and what was measured. It does not say who erred.",
		"Your local rules and the supplier's terms decide what follows from it.",
	},
	FoundPart: "What was found", SideIntro: "One typical fruit of each group, all at one scale, stem end up. The dashed boxes are the least and the greatest size that the description gives.",
	SideAlt: "Typical fruit of each group beside each other at one scale, with the size that the description gives", Groups: "Groups", Plants: "Plants",
	NoDescription: "There was no description of the variety. Groups are told apart, but nothing is called true to type or off-type.",
	NoPlants:      "The fruit carry no plant numbers, so plants are not judged.", ItemPlants: "Each root or bulb was counted as one plant.", ControlMark: "(control)", Described: "Description", LeastMost: "least and greatest size",
	GroupHead: []string{"Group", "Fruit", "Plants", "Verdict", "Why"}, PlantHead: []string{"Plant", "Fruit", "Verdict", "Why"},
	PhotoPart: "Table photos", PhotoIntro: "Every fruit is outlined and numbered. The mark before the number is the mark of its group. White on black: off-type. A ? means that the outline is not sure. The scale card and the plant tags have a dashed border.",
	PhotosLeftOut: "%d of %d photos are shown, those with off-type or doubtful fruit first. The tables hold all.", PhotoCaption: "%s, %s.",
	PhotoScale: "Scale at the card %.3f mm a pixel, camera %.0f cm above the table, tilted %.0f°.", PhotoColour: "The colours of this photo are doubtful and are not used for verdicts.", PhotoAlt: "Photo %s with %d outlined fruit",
	GroupPart: "Measurement sheets of the groups", GroupIntro: "A group is made of fruit that look alike. The middle value of a group is the median. The verdict weighs all traits together with their uncertainty; one value a little outside its range does not make a fruit off-type.",
	TypicalIs: "Drawn: fruit %d of %s, the one nearest to the middle size of the group.", RowOf: "%d of %d fruit, those nearest to the middle size.", RowAlt: "Fruit of group %d at one scale", Leaning: "Like which other described variety? Hints only",
	SheetAlt: "Fruit %d of %s, cut out, with dimension lines, profile and colours", NoOutline: "no outline is stored for this fruit", NoScale: "No scale: sizes unknown, drawn to fit.", ScaleIs: "Scale %s when printed at 100 %%",
	NoScaleShort: "no scale", NoSize: "Size not measured: drawn to fit.", NoCard: "no scale card: colours unknown", PhotoNoScale: "No scale: shapes and patterns only.",
	SideSome: "Fruit marked “no scale” are drawn to fit: their sizes are unknown.", SideAltNoScale: "One fruit of each group beside each other, drawn to fit",
	RowNoScale: "Fruit without a scale are left out.", TypicalNoScale: "Drawn: fruit %d of %s.", RowAltNoScale: "Fruit of group %d, drawn to fit",
	Profile: "Profile from the measured diameters", BoxIs: "Dashed: least and greatest size of the description.", NotMeasured: "not measured",
	Colours: "Colours (CIELAB, %s, 2°)", MainColour: "Main skin colour", SecondColour: "Second colour", ShareOfSkin: "%.0f %% of the visible skin", WhiteIs: "White: L* 100  a* 0  b* 0  (%s)",
	Skin: "Skin colour: distance from the description", Pattern: "Pattern", ShapeWords: "Shape in words", OtherThan: "other",
	UpTo: "up to %s", From: "from %s", Within: "within", WithinU: "%s, by less than the uncertainty", Above: "above", Below: "below",
	TraitHead:      []string{"Trait", "Measured", "± (k = 2)", "Unit", "Description", "Against the description"},
	GroupTraitHead: []string{"Trait", "Median", "Least – greatest", "Fruit", "Unit", "Description", "Median against it"},
	HandHead:       []string{"Observed by hand", "Value", "On", "Date", "By", "Note"},
	IndexHead:      []string{"Photo", "No.", "Plant", "Group", "Length, mm", "Width, mm", "Skin", "Verdict"},
	PhotoHead:      []string{"Photo", "State", "Card", "mm a px", "Tilt", "Height, mm", "Focal, px", "Card fit, px", "Colour fit, ΔE00"},
	HashHead:       []string{"Photo", "SHA-256 of the file"},
	HandPart:       "Observed by hand", Reasons: "Why this verdict", Notes: "Notes:", Alone: "stands alone", TooLittle: "too little measured", Probability: "with %.0f %% probability", OutlineUnsure: "outline not sure",
	AnnexPart: "Annex: a sheet for each fruit", AnnexIntro: "± is the expanded uncertainty (k = 2): it is meant to hold the true value 19 times in 20; that of a length holds less often where an end faces away from the camera.", AnnexLines: "The dimension lines show the measured length without the stalk and the greatest width.",
	AnnexOffFirst: "The sheets of off-type fruit come first, then the doubtful ones, then the others.",
	SheetsLeftOut: "%d of %d fruit have a sheet, off-type and doubtful ones first. This list holds all.",
	TraitPart:     "Traits", DotIntro: "Each mark is one fruit (× 12: twelve in one place); its shape is the mark of its group. White: true to type or not judged. Grey: doubtful. Black: off-type.",
	DotBand: "The shaded band between dashed lines is the range that the description gives; about 19 of 20 fruit of the variety keep to it.", DotAlt: "Dot plot of %s by group", ColourPlot: "Skin colours",
	ColourAlt:     "Skin colours of all fruit in a* and b*",
	ColourCaption: "Main skin colour of each fruit in the a*b* plane. Each mark has the colour it stands for. Cross: described colour. Dashed line: where the colour difference ΔE00 reaches what the description allows, at the described lightness. ΔE00 is the size of a colour difference: 1 is hardly seen side by side, 10 is plain to see. Lightness L* is not drawn.",
	AxisA:         "a*  (green – red);  upwards b* (blue – yellow);  white %s, 2°",
	LotPart:       "The seed lot", RateHere: "Rate among these plants", RateLot: "Rate in the seed lot", RateInterval: "%s to %s (%s confidence; exact binomial interval of Clopper and Pearson)",
	Rule: "Rule", RuleText: "Population standard %s, acceptance probability %s: %s allowed in %s. This lot is %s it.", RuleWithin: "within", RuleOutside: "outside", RuleOpen: "not clearly within or outside",
	RuleTitle: "What the 1 % / 95 % rule is, and what it is not",
	RuleIs: []string{
		"It is a yardstick of variety testing (uniformity by off-types, as in UPOV's documents): if at most 1 % of the plants of a variety are off-types, a sample passes with a probability of at least 95 %. It is meant for varieties that are self-pollinated or propagated vegetatively.",
		"It is not a standard for seed packets as sold. Cross-pollinated crops, such as squash, pumpkin, melon and cucumber, are judged against comparison lots of known varieties grown beside them. Seed laws and suppliers may set other limits.",
		"A lot within the rule can still hold many off-types: of lots with 10 % off-types, about 4 in 10 pass when 20 plants are seen.",
	},
	OtherPart: "Other explanations considered", OtherIntro: "Look at each of these before you write to anybody. The photos alone cannot exclude them.",
	Others: []string{
		"Plants mixed up at sowing, planting or tagging, a volunteer plant from the compost, or fruit that rolled to another tag. Do all fruit of the plant look alike? Do the leaves and the growth differ too?",
		"Unripe, late, sick, damaged or sunburnt fruit. Compare fruit of one age only.",
		"A spot in the bed: soil, water, shade. Do the plants beside it look the same? Control plants from other seed in the same bed answer this best.",
		"The season: sizes and colours shift from year to year. The description may come from another year, another stage or few plants.",
		"Limits of the photo: light, tilt, a card that does not lie flat or is not printed at 100 %, a fruit seen from its end, a hidden side. See the card residuals in this report.",
		"Natural variation: a local or open-pollinated variety may be broader than its description.",
		"Foreign pollen on your own plants this year is not an explanation: it changes the seed inside the fruit and next year's plants, not the shape and skin of this year's squash, melon, pepper or tomato. (Maize kernels are different.)",
	},
	ControlsWere: "Control plants of the same variety from other seed stood in the same bed: %s. What they do too is not the seed's doing.", RuleOwn: "The rule used in this report (%s off-types, %s probability) is not this one: whoever made the report chose it. What follows is about the 1 % / 95 % rule.", ControlsLate: "Control plants were named that the verdicts did not use: %s. They were judged and counted like the others. To compare with them, name them as control plants and measure again.", NoControls: "No control plants were marked. Season and site are not excluded as a cause.",
	AdvicePart: "What to do",
	Advice: []string{
		"Tell the supplier early, while the plants still stand, so that they can look for themselves. Send this report with the photos.",
		"Keep one fruit of each type at least, with its plant number, and all leftover seed in its packet. Do not open it again.",
		"If you bought from a reseller, ask for the original lot number and who grew the seed.",
		"Let the supplier answer before you publish anything. State what grew. Do not state who erred: you cannot know it from the fruit.",
		"Ask what the terms on the packet or the invoice say about time limits. They can be short.",
	},
	KeepPart: "Checklist: keep back and photograph", KeepIntro: "Tick off what you have. A claim rests on these.",
	Keep: []string{
		"Packet, front and back, photographed: variety, lot number, date, supplier, treatment", "Receipt or invoice, order number, delivery date", "Leftover seed in the original packet, closed, dated and signed, dry and cool; how many seeds",
		"Seed of the same lot kept by a neighbour or the reseller, if there is any", "Sowing date, number of seeds sown, number germinated, number planted", "Plan of the bed with plant numbers, control plants and what grew beside it",
		"Photos of the standing plants: whole plant, leaf, flower, young fruit, with the tag", "Photos of the table with card and tags, original files, unchanged", "One fruit of each type, whole, with its tag; a cut half photographed with the card",
		"Names of those who saw it, with date",
	},
	Cautions: "Cautions", HarvestNotes: "Notes on the harvest",
	MethodPart: "How it was measured", Drawn: "Cut-outs are stretched along their axis by the few per cent that perspective took away, so that both dimension lines are true on paper. Print at 100 % (no fitting to the page) and check the scale bar with a ruler.",
	Program: "Program", VersionPart: "Version and settings", NoPhotos: "The fruit were measured elsewhere or by hand; there are no photos.",
	CardTable: "Card and camera, photo by photo", CardIntro: "Card fit: mean distance of the card's corners from where the camera model puts them. Colour fit: mean colour difference of the card's patches after correction.",
	HashPart: "Fingerprints of the photo files", HashIntro: "The SHA-256 of an unchanged original gives the same digits on any computer (sha256sum, Get-FileHash, shasum -a 256). Keep the originals.",
	Traits: map[string]string{"length": "Length without stalk", "width": "Greatest width", "ratio": "Length ÷ width", "midline": "Length along the middle line", "volume": "Volume", "broadest": "Broadest at (0 stem end, 1 blossom end)",
		"neck": "Neck: thinnest ÷ widest", "taper": "Taper to the stem end", "bend": "Bend", "ribs": "Ribs", "groove": "Groove depth ÷ radius", "share": "Share of the second colour", "stalk": "Length of stalk"},
	Patterns: map[string]string{"none": "none", "stripes": "stripes", "bands": "bands", "patches": "patches", "dots": "dots", "mottled": "mottled"},
	Poses:    map[record.Pose]string{record.Side: "lies on its side", record.Upright: "stands upright", record.Unclear: "pose unclear"},
	Verdicts: map[record.Verdict]string{record.TrueToType: "true to type", record.Doubtful: "doubtful", record.OffType: "off-type", record.NotAssessable: "not assessable", record.NotJudged: "not judged"},
	States:   map[record.Status]string{record.StatusOK: "measured", record.StatusFailed: "failed", record.StatusDuplicate: "copy"},
	Sheet:    sheetEnglish,
	Like:     &likeEnglish,
	Page:     &english,
}
