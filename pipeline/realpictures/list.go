package main

// cut is a photograph of one fruit on a transparent ground.
type cut struct {
	file string // below the folder of the cut-outs
	pix  int    // long side it may be drawn at, px: never much more than its own
}

// Photographs of whole fruit among the stamps of the Debian package tuxpaint-stamps-default
// 2022.06.04-1 (GPL-2). Its drawings, halves, bunches and leaves are left out.
var (
	large = []cut{
		{"fruit/Apricot_whole.png", 380}, {"fruit/avocado.png", 400}, {"fruit/cherimoya.png", 400},
		{"fruit/kiwi.png", 280}, {"fruit/orange_seville.png", 400}, {"vegetables/corn.png", 420},
		{"fruit/apricot.png", 230}, {"fruit/lemon.png", 190}, {"fruit/mandarine.png", 190},
	}
	small = []cut{
		{"fruit/apricot.png", 150}, {"fruit/lemon.png", 130}, {"fruit/mandarine.png", 130},
		{"fruit/apple_fuji.png", 90}, {"fruit/apple_granny_smith.png", 90}, {"fruit/apple_green.png", 90},
		{"fruit/apple_red.png", 90}, {"fruit/apple_sierra_beauty.png", 90}, {"fruit/orange.png", 105},
		{"fruit/pear.png", 95}, {"fruit/mango.png", 95}, {"fruit/pomegranate.png", 95}, {"fruit/banana.png", 120},
		{"vegetables/tomato.png", 90}, {"vegetables/onion.png", 115}, {"vegetables/garlic.png", 100},
		{"vegetables/potato.png", 95}, {"vegetables/pattypan_squash.png", 105}, {"vegetables/pumpkin_small.png", 95},
		{"vegetables/yam.png", 150}, {"vegetables/pepper.png", 100}, {"vegetables/yellowpepper.png", 115},
		{"vegetables/chilepepper.png", 120}, {"vegetables/eggplant.png", 120},
	}
)

// ground is a photograph of a surface; zoom is how much it is enlarged.
type ground struct {
	file string
	zoom float64
}

// Surfaces of the Debian package ufoai-textures 2.5-2 (GPL-2, GPL-2+ or public domain, see
// docs/real-pictures.md). A name "scene:NAME" is the largest empty square of a rendered scene.
var grounds = []ground{
	{"tex_ctp1/wood_b_4.jpg", 2}, {"tex_ctp1/concrete_g_5.jpg", 1}, {"tex_nature/dirt003.png", 2},
	{"tex_mattn/straw.jpg", 2}, {"tex_ctp1/grass_g_7.jpg", 1}, {"scene:dev-4-touching-mesh", 1},
	{"tex_mattn/wood015.jpg", 2}, {"tex_nature/desert009.png", 1}, {"tex_ctp1/concrete_g_6.jpg", 1},
	{"tex_ctp1/woodb_5.jpg", 2}, {"tex_misc/straw.png", 2}, {"tex_nature/dirt_se01.png", 2},
	{"tex_ctp1/wood_b_10.jpg", 2}, {"scene:dev-2-fabric-oblique", 1}, {"tex_ctp1/grass_g_8.jpg", 2},
	{"tex_mattn/concrete001.jpg", 2}, {"tex_ctp1/concrete_b_1.jpg", 1}, {"tex_mattn/wood006.jpg", 2},
	{"tex_nature/dirt002.png", 2}, {"scene:dev-1-planks-overhead", 1}, {"tex_ctp1/wood_b_1.jpg", 2},
	{"tex_ctp1/concrete_g_10.jpg", 1}, {"tex_buildings/floor_wood01.png", 2}, {"tex_nature/grass.jpg", 2},
	{"tex_mattn/wood016.jpg", 2}, {"tex_ctp1/concrete_g_8.jpg", 1}, {"scene:dev-5-bulbs-blue-tarp", 1},
	{"tex_nature/desert001.png", 2},
}

// whole is a photograph as it is, with the number of whole fruit or solid things in it, counted by eye.
type whole struct {
	file  string
	count int
	cut   int // more, cut by the frame
	what  string
}

// Photographs of the Debian packages opencv-doc (Apache-2.0) and python3-skimage (BSD-3-Clause).
var wholes = []whole{
	{"apple.jpg", 1, 0, "apple on a cloth"},
	{"orange.jpg", 1, 0, "orange on a cloth"},
	{"smarties.png", 12, 2, "sugar-coated sweets on white"},
	{"coins.png", 24, 0, "old coins on dark cloth, grey"},
}
