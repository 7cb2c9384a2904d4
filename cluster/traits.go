package cluster

// Places of the traits that FruitTraits lists.
const (
	TLength = iota
	TWidth
	TBroadest
	TBend
	TNeck
	TTaper
	TGroove
	TSkinL
	TSkinA
	TSkinB
	TMarkL
	TMarkA
	TMarkB
	TStriped
	TraitCount
)

// FruitTraits returns the traits that fruit are grouped by, in the order of the constants above.
//
// Spread is the standard deviation that fruit of one type usually show, measuring error included, on
// the working scale. Common practice, no source: they are starting values, which the harvest's own
// spread outweighs (see priorFruit). Length and width together stand for the ratio; volume and middle
// line say nothing more and are left out, so that no trait counts twice.
func FruitTraits() []Trait {
	return []Trait{
		TLength:   {Name: "length", Unit: "mm", Label: "length", More: "longer", Less: "shorter", Scale: Log, Kind: Size, Seasonal: true, Spread: 0.075},
		TWidth:    {Name: "width", Unit: "mm", Label: "width", More: "wider", Less: "narrower", Scale: Log, Kind: Size, Seasonal: true, Spread: 0.07},
		TBroadest: {Name: "broadest at", Means: "0 is the stem end, 1 the blossom end", Label: "broadest place", More: "broadest nearer the blossom end", Less: "broadest nearer the stem", Scale: Linear, Kind: Shape, Spread: 0.05},
		TBend:     {Name: "bend", Unit: "°", Label: "bend", More: "more bent", Less: "straighter", Scale: Bend, Kind: Shape, Spread: 0.7},
		TNeck:     {Name: "neck", Means: "thinnest ÷ widest place", Label: "neck", More: "fuller in the neck", Less: "thinner in the neck", Scale: Linear, Kind: Shape, Spread: 0.06},
		TTaper:    {Name: "taper", Means: "0 is as thick towards both ends", Label: "taper", More: "more tapered", Less: "less tapered", Scale: Linear, Kind: Shape, Spread: 0.06},
		TGroove:   {Name: "groove depth", Means: "depth ÷ radius", Label: "depth of the grooves", More: "deeper grooves", Less: "smoother", Scale: Linear, Kind: Shape, Spread: 0.03},
		TSkinL:    {Name: "skin lightness", Label: "lightness of the skin", More: "paler skin", Less: "darker skin", Scale: Linear, Kind: Colour, Seasonal: true, Spread: 3},
		TSkinA:    {Name: "skin red-green", Label: "red against green of the skin", More: "redder skin", Less: "greener skin", Scale: Linear, Kind: Colour, Seasonal: true, Spread: 3},
		TSkinB:    {Name: "skin yellow-blue", Label: "yellow of the skin", More: "yellower skin", Less: "less yellow skin", Scale: Linear, Kind: Colour, Seasonal: true, Spread: 3.5},
		TMarkL:    {Name: "mark lightness", Label: "lightness of the marks", More: "paler marks", Less: "darker marks", Scale: Linear, Kind: Pattern, Spread: 2},
		TMarkA:    {Name: "mark red-green", Label: "red against green of the marks", More: "redder marks", Less: "greener marks", Scale: Linear, Kind: Pattern, Spread: 2},
		TMarkB:    {Name: "mark yellow-blue", Label: "yellow of the marks", More: "yellower marks", Less: "less yellow marks", Scale: Linear, Kind: Pattern, Spread: 2},
		TStriped:  {Name: "striped share", Label: "share of stripes", More: "more striped", Less: "less striped", Scale: Linear, Kind: Pattern, Spread: 0.08},
	}
}
