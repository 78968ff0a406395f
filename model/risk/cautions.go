package risk

import "github.com/catchline/catchline/model/chem"

// Code names a caution; it is stable.
type Code string

// The cautions.
const (
	TestTileFirst  Code = "test_tile_first"
	ModelLimits    Code = "model_limits"
	Shelf          Code = "shelf"
	Grinding       Code = "grinding"
	HotKiln        Code = "hot_kiln"
	Fumes          Code = "fumes"
	CarbonMonoxide Code = "carbon_monoxide"
	Dust           Code = "dust"
	FoodContact    Code = "food_contact"
	MakersLabel    Code = "makers_label"
	LeadPresent    Code = "lead"
	BariumPresent  Code = "barium"
	ManganeseIn    Code = "manganese"
	LithiumIn      Code = "lithium"
	ColourantsIn   Code = "colourants"
	AcidGases      Code = "acid_gases"
)

// Caution is something to be careful of, and whom to defer to.
type Caution struct {
	Code Code
	Text string
}

// Situation holds what the choice of cautions depends on.
type Situation struct {
	// Word is the worst risk word of the answer.
	Word Word
	// Cookie is true if the answer puts a cookie under a piece, which somebody will have to break or grind off.
	Cookie bool
	// Melts are the compositions of the glazes whose chemistry is known.
	Melts []*chem.Melt
	// Described is true if the chemistry of a glaze is unknown.
	Described bool
	// Recipes is true if a glaze is given as a recipe, so that somebody weighs powders.
	Recipes bool
	// Reduction is true if the firing is in reduction or burns fuel.
	Reduction bool
	// AcidGases is true if raw materials give off compounds of fluorine, sulfur or chlorine.
	AcidGases bool
}

// traces is the mole fraction below which an oxide counts as an impurity of raw materials.
const traces = 1e-3

// rules are the cautions in the order in which they are shown, each with the situations that it applies to. The texts
// and the standards that they defer to follow testdata/published/cautions.csv.
var rules = []struct {
	caution Caution
	applies func(*Situation) bool
}{
	{Caution{Shelf, "A glaze that runs can weld ware to a shelf and destroy shelves and elements. Use kiln wash, a cookie or a catcher, keep running pieces low and away from elements, and follow the kiln maker's instructions. Predictions can be off by a factor of two to five."},
		func(s *Situation) bool { return s.Word > Low || s.Cookie }},
	{Caution{TestTileFirst, "Test on an upright tile over a cookie in your own kiln before you put a layering on ware; the glaze maker's and the kiln maker's instructions go before this answer."},
		always},
	{Caution{ModelLimits, "The prediction is for an even film of melt. Bubbles, undissolved grains, crystals, the layer at the body and the dry edge are in it only as common practice has them; what crystallises in cooling is left out."},
		always},
	{Caution{Grinding, "Fired drips and shards are glass. Wear eye and hand protection (ANSI Z87.1, EN 166) when grinding them off, grind wet, and do not breathe the dust."},
		func(s *Situation) bool { return s.Word > Low || s.Cookie }},
	{Caution{HotKiln, "Do not open a hot kiln to look for runs: leave it shut until it is below about 100 °C, and look through a peephole above about 1000 °C only with infrared-rated eye protection (ANSI Z87.1, EN 171). Do not leave the end of a firing unattended. Wiring and clearances: the kiln's maker, local codes (NFPA 70, IEC 60519) and a licensed electrician or gas fitter."},
		func(s *Situation) bool { return s.Word >= High }},
	{Caution{Fumes, "Kilns give off fumes. Vent the kiln to the open air as its maker and local codes ask, and stay out of the room while it fires."},
		always},
	{Caution{CarbonMonoxide, "Burning fuel, reduction, wax and organic matter give off carbon monoxide: have an alarm and an outdoor exhaust, and never fire in a room that is lived in (OSHA limit 50 ppm). Gas work is for a licensed fitter."},
		func(s *Situation) bool { return s.Reduction }},
	{Caution{AcidGases, "Fluorspar, cryolite, lepidolite, sulfates and salt give off hydrogen fluoride, sulfur dioxide or hydrogen chloride in the firing: vent the kiln outdoors (see the safety data sheets and local exhaust rules)."},
		func(s *Situation) bool { return s.AcidGases }},
	{Caution{Dust, "Dust of quartz, clay, feldspar, talc and frit holds respirable silica, which causes silicosis and cancer (OSHA 29 CFR 1910.1053, EU 2017/2398, IARC group 1). Clean wet, do not sweep dry, and wear a P100 or P3 respirator when handling powders."},
		func(s *Situation) bool { return s.Recipes || s.Word > Low || s.Cookie }},
	{Caution{LeadPresent, "This composition holds lead. Do not use lead compounds in a studio and never on ware for food or drink (OSHA 29 CFR 1910.1025; ASTM C738, ISO 6486)."},
		holds(chem.PbO)},
	{Caution{BariumPresent, "This composition holds barium. Barium carbonate is poisonous when swallowed or breathed in, and some barium glazes leach; see the safety data sheet."},
		holds(chem.BaO)},
	{Caution{ManganeseIn, "This composition holds manganese. Its dust and its fume in the firing harm the nerves (ACGIH TLV 0.02 mg/m³ respirable): fire vented and stay out."},
		holds(chem.MnO)},
	{Caution{LithiumIn, "This composition holds lithium. Lithium carbonate is harmful when swallowed; see the safety data sheet."},
		holds(chem.Li2O)},
	{Caution{ColourantsIn, "This composition holds chromium, vanadium, nickel, cobalt or copper. Their dusts and fumes are hazards, and chromates and nickel oxide cause cancer (IARC); see the safety data sheets."},
		holds(chem.Cr2O3, chem.V2O5, chem.NiO, chem.CoO, chem.CuO)},
	{Caution{MakersLabel, "The composition of a glaze in this layering is not known here. Its maker's label and safety data sheet hold (ASTM D4236 for labelling); nothing is said of what is in it."},
		func(s *Situation) bool { return s.Described }},
	{Caution{FoodContact, "This says nothing on food contact: only a laboratory test shows what a glaze releases (ASTM C738, ISO 6486, EN 1388-1; cookware ASTM C1034)."},
		always},
}

func always(*Situation) bool { return true }

// holds applies where any melt has more than traces of any of the oxides.
func holds(oxides ...chem.Oxide) func(*Situation) bool {
	return func(s *Situation) bool {
		for i := range s.Melts {
			for _, o := range oxides {
				if s.Melts[i][o] > traces {
					return true
				}
			}
		}
		return false
	}
}

// Cautions gives the cautions that apply to a situation, in a fixed order.
func Cautions(s *Situation) []*Caution {
	out := make([]*Caution, 0, len(rules))
	for i := range rules {
		if rules[i].applies(s) {
			out = append(out, &rules[i].caution)
		}
	}
	return out
}
