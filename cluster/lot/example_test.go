package lot_test

import (
	"fmt"

	"offtype/cluster/lot"
)

func ExampleClopperPearson() {
	low, high := lot.ClopperPearson(2, 24, 0.95)
	fmt.Printf("%.4f to %.4f\n", low, high)
	// Output: 0.0103 to 0.2700
}

func ExampleAllowed() {
	for _, n := range []int{5, 6, 35, 36} {
		k, _ := lot.Allowed(n, 0.01, 0.95)
		fmt.Println(n, k)
	}
	// Output:
	// 5 0
	// 6 1
	// 35 1
	// 36 2
}
