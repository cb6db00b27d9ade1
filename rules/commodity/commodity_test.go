package commodity

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Words of the trade, from memory: rough rice is paddy, husked rice is brown or
// cargo rice (ISO 7301 tells "paddy", "husked rice" and "milled rice" apart).
func TestOf(t *testing.T) {
	for text, want := range map[string]Kind{
		"milled rice": MilledRice, "Rice, milled (25 % broken)": MilledRice, "white rice": MilledRice, "riz blanchi": MilledRice, "brisures de riz": MilledRice,
		"paddy": Paddy, "Paddy rice": Paddy, "rough rice": Paddy, "unhusked rice": Paddy, "riz paddy": Paddy, "Riz non décortiqué": Paddy, "RIZ PADDY 2026": Paddy,
		"brown rice": BrownRice, "husked rice": BrownRice, "riz décortiqué": BrownRice, "riz cargo": BrownRice,
		"rice": Rice, "riz": Rice, "parboiled rice": Rice,
		"wheat": Wheat, "blé tendre": Wheat, "Blés": Wheat, "yellow maize": Maize, "corn": Maize, "maïs": Maize, "sorgho": Sorghum, "orge": Barley, "mil": Millet,
		"groundnuts in shell": Groundnuts, "arachides en coque": Groundnuts, "peanuts": Groundnuts, "sésame": Oilseeds, "sunflower seed": Oilseeds, "soja": Soya, "soybeans": Soya,
		"beans": Beans, "haricots": Beans, "pois chiches": Peas, "fèves": Beans, "cocoa beans": Cocoa, "cacao": Cocoa, "café vert": Coffee,
		"wheat flour": Flour, "farine de blé": Flour, "soybean meal": Flour, "rice bran": Flour, "son de blé": Flour,
		"": Unknown, "dates": Unknown, "tobacco": Unknown, "licorice": Unknown, "peach kernels": Unknown, "oatmeal bars": Unknown,
	} {
		assert.Equal(t, want, Of(text), "%q", text)
	}
}
