package report

// likeTexts are the words of the pictures that show how alike the fruit are.
type likeTexts struct {
	Part, Plane, Tree, Firm                                           string
	PlaneIntro, PlaneAxes, PlaneAlt, Right, Up                        string
	TreeIntro, TreeCut, TreeOther, TreeAlt, TreeMost                  string
	Alike, Different, Cut, Leaf, LeafPlant, Bunch, Key                string
	FirmIntro, FirmGroup                                              string
	Unsure, UnsureFruit, UnsureNothing, UnsureAlone, UnsureMore, Sure string
	And, NoScale                                                      string
}

var likeEnglish = likeTexts{
	Part: "How alike the fruit are", Plane: "Near and far", Tree: "Who goes with whom", Firm: "How firm the groups are",
	PlaneIntro: "Each mark is one fruit. Marks that lie close together stand for fruit that are alike in size, shape, colour and pattern, all taken together. A dashed ring is as wide as fruit of one type usually spread: about 19 of 20 lie inside.",
	PlaneAxes:  "Further to the right means %s. Further up means %s.", NoScale: "Fruit without a scale are compared by shape, pattern and the photo's own colours; by size only where all lie on one photo.",
	Right: "Further to the right means %s.", Up: "Further up means %s.", And: " and ",
	PlaneAlt:  "Every fruit as a mark: alike fruit lie near each other, groups have marks of their own",
	TreeIntro: "Read from left to right. Fruit whose lines meet early, on the left, look much alike. The further right two branches meet, the more they differ.",
	TreeCut:   "At the dashed line the tree falls into %d branches: the groups.",
	TreeOther: "The groups are not exactly the branches at the dashed line. They were found with all traits, their uncertainty and the plant numbers; the tree looks at the fruit one by one.",
	TreeAlt:   "Tree of the fruit: alike fruit are joined on the left, different ones on the right",
	TreeMost:  "With %d fruit, only the uppermost %d branches are drawn.",
	Alike:     "alike", Different: "different", Cut: "cut", Leaf: "no. %d, %s", LeafPlant: "plant %s, no. %d", Bunch: "%d fruit", Key: "Group %d",
	FirmIntro: "The grouping was repeated with plants (or fruit without plant number) drawn anew from this harvest, as if it had been another sample of them. A group that comes out again nearly every time is firm.",
	FirmGroup: "Group %d: its fruit came together again in %d of the %d repeats that held any of them.",
	Unsure:    "Fruit that are not sure, marked with a question mark", UnsureFruit: "%s: put to group %d, with a probability of %.0f %%.", UnsureNothing: "%s: too little was measured to tell groups apart; listed with group %d.", UnsureAlone: "%s: far from all groups; listed with the nearest, group %d.",
	UnsureMore: "and %d more (column unsure of groups.csv).", Sure: "No fruit lies between two groups or far from all.",
}
