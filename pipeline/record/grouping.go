package record

// Grouping is how the groups were found, for drawings and the method section. Points and leaves are
// fruit in the order of Rows.
type Grouping struct {
	Rows       []Key        // fruit that were grouped
	Tree       []Join       // hierarchical tree (Ward), heights in standard deviations of a fruit of one type
	Order      []int        // leaves in drawing order
	Points     [][2]float64 // trait-space picture
	Axes       [2][]string  // what a larger value means, strongest first: "longer"
	Stability  []float64    // of each group, 0–1; NaN when not done
	Notes      []string     // sentences: mixed plants, unstable groups
	Alikeness  float64      // correlation of fruit of one plant beyond their type; NaN without tags
	MixedPlant []string     // plants whose fruit look like more than one type
	Repeats    []int        // of each group: repeats with plants or fruit drawn anew from this harvest
	Again      []int        // of each group: repeats in which three quarters of it or more came together again
	Given      int          // number of groups that was asked for; 0: it was found
}

// Join is a step of the tree: A and B are leaves (below the number of rows n) or step A−n.
type Join struct {
	A, B   int
	Height float64
}
