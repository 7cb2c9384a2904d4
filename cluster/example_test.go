package cluster_test

import (
	"fmt"

	"offtype/cluster"
)

// Six fruit measured by hand: four long ones and two round ones.
func ExampleFind() {
	t := cluster.Table{Traits: []cluster.Trait{
		{Name: "length", Unit: "mm", Label: "length", More: "longer", Less: "shorter", Scale: cluster.Log, Kind: cluster.Size, Spread: 0.075},
		{Name: "width", Unit: "mm", Label: "width", More: "wider", Less: "narrower", Scale: cluster.Log, Kind: cluster.Size, Spread: 0.07},
	}}
	for _, v := range [][2]float64{{310, 80}, {302, 84}, {318, 82}, {296, 79}, {120, 131}, {126, 128}} {
		t.Rows = append(t.Rows, cluster.Row{Values: v[:]})
	}
	r, err := cluster.Find(t, cluster.DefaultOptions())
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, g := range r.Groups {
		fmt.Println(g.Number, len(g.Rows), g.Apart[0].Words)
	}
	// Output:
	// 1 4 183 mm longer
	// 2 2 183 mm shorter
}

func ExampleWard() {
	for _, m := range cluster.Ward([][]float64{{0}, {1}, {5}}, nil) {
		fmt.Printf("%d and %d at %.3f\n", m.A, m.B, m.Height)
	}
	// Output:
	// 0 and 1 at 1.000
	// 2 and 3 at 5.196
}
