// Package cluster puts fruit into phenotype groups from a table of traits: numbers in, numbers out.
//
// A group ("type") is a set of fruit whose traits agree within the spread that fruit of one variety
// show. The number of groups, one included, is the smallest that no larger one beats in the posterior score of the
// whole partition by a margin (see Find); fruit of one plant stay together unless the evidence against it is strong.
//
// Working scale. Every trait is turned into a scale on which the spread within a type is about the
// same for small and large values (logarithm for sizes, square root for the bend, and so on), and is
// divided by the spread that fruit of one type usually show (Trait.Spread). Distances are then taken
// with the covariance estimated from the harvest itself, shrunk towards those usual spreads, so that
// traits which say the same thing twice count once.
//
// The package also holds the plain methods that its results are checked with: Ward's hierarchical
// grouping, k-means, silhouette, adjusted Rand index, Welch's t and Hotelling's T².
//
// It reads no file, clock, environment or global random source: the same table gives the same result.
package cluster
