package e2e

import (
	"fmt"
	"math"
	"testing"
)

type object = map[string]any

// invent makes a studio with invented glazes, firings, wares and so many tiles. Nothing in it is anybody's; the numbers only
// have to be such that every page has something to show. The runs are the server's own medians, moved by a fixed pattern.
func (s *server) invent(t *testing.T, id string, tiles int) {
	t.Helper()
	at := "/v1/studios/" + id
	s.call(t, "POST", "/v1/studios?studioId="+id, object{"displayName": "Invented studio", "invented": true}, nil)
	recipe := func(parts ...any) object {
		var list []object
		for i := 0; i < len(parts); i += 2 {
			list = append(list, object{"material": parts[i], "amount": parts[i+1]})
		}
		return object{"ingredients": list}
	}
	glazes := []struct {
		id   string
		body object
	}{
		{"marsh-green", object{"displayName": "Marsh green", "recipe": recipe("potash feldspar (orthoclase)", 38, "silica", 22, "whiting", 20, "kaolin (kaolinite)", 8, "colemanite", 8, "copper carbonate (malachite)", 4)}},
		{"slate-blue", object{"displayName": "Slate blue", "recipe": recipe("soda feldspar (albite)", 44, "silica", 20, "whiting", 14, "kaolin (kaolinite)", 12, "zinc oxide", 6, "cobalt carbonate", 1, "rutile / titania", 3)}},
		{"bone-white", object{"displayName": "Bone white", "surface": "SURFACE_SATIN", "recipe": recipe("potash feldspar (orthoclase)", 40, "silica", 25, "whiting", 15, "kaolin (kaolinite)", 14, "talc", 6)}},
		{"rust-slip", object{"displayName": "Rust slip", "surface": "SURFACE_MATTE", "recipe": recipe("potash feldspar (orthoclase)", 34, "silica", 18, "whiting", 18, "kaolin (kaolinite)", 20, "red iron oxide (hematite)", 10)}},
		{"honey-run", object{"displayName": "Honey run", "seger": object{"moles": object{"Na2O": 0.25, "K2O": 0.1, "CaO": 0.5, "ZnO": 0.15, "Al2O3": 0.25, "B2O3": 0.4, "SiO2": 2.4, "Fe2O3": 0.06}}}},
		{"jar-black", object{"displayName": "Jar black", "described": object{"behaviour": "BEHAVIOUR_MOBILE"}}},
	}
	for _, g := range glazes {
		g.body["coneFrom"], g.body["coneTo"] = "5", "6"
		s.call(t, "POST", at+"/glazes?glazeId="+g.id, g.body, nil)
	}
	for _, lot := range []string{"spring", "autumn"} {
		s.call(t, "POST", at+"/glazes/marsh-green/lots?lotId="+lot, object{"displayName": "Bucket of " + lot}, nil)
	}
	s.call(t, "POST", at+"/bodies?bodyId=pale-stoneware", object{"displayName": "Pale stoneware", "bisqueAbsorptionPercent": 12}, nil)
	s.call(t, "POST", at+"/firings?firingId=cone-6", object{"displayName": "Cone 6, slow", "kiln": "north", "plan": object{"cone": object{"cone": "6", "holdMin": 10}}}, nil)
	s.call(t, "POST", at+"/firings?firingId=cone-5", object{"displayName": "Cone 5", "kiln": "north", "plan": object{"cone": object{"cone": "5"}}}, nil)
	s.call(t, "POST", at+"/wares?wareId=shouldered-vase", object{"displayName": "Shouldered vase", "value": 45,
		"shape": object{"bottle": object{"heightMm": 220, "footDiameterMm": 80, "bellyDiameterMm": 140, "neckDiameterMm": 50}}}, nil)
	s.call(t, "POST", at+"/wares?wareId=rice-bowl", object{"displayName": "Rice bowl", "shape": object{"bowl": object{"heightMm": 65, "rimDiameterMm": 120, "footDiameterMm": 55}}}, nil)

	for i := range tiles {
		under, over := glazes[i%len(glazes)].id, glazes[(i*5+i/6+1)%len(glazes)].id
		firing := []string{"cone-6", "cone-6", "cone-5"}[i%3]
		layers := []object{
			{"glaze": "studios/" + id + "/glazes/" + under, "coats": 1 + float64(i%3), "method": "APPLICATION_METHOD_BRUSH"},
			{"glaze": "studios/" + id + "/glazes/" + over, "coats": 2, "method": "APPLICATION_METHOD_BRUSH"},
		}
		for _, l := range layers {
			if l["glaze"] == "studios/"+id+"/glazes/marsh-green" {
				l["lot"] = fmt.Sprintf("%v/lots/%s", l["glaze"], []string{"spring", "autumn"}[i/2%2])
			}
		}
		tile := object{
			"layering": object{"layers": layers, "body": "studios/" + id + "/bodies/pale-stoneware"},
			"firing":   "studios/" + id + "/firings/" + firing,
			"fireDate": fmt.Sprintf("2026-%02d-%02d", 1+i/8%12, 1+3*(i%8)),
			"tester":   []string{"first hand", "second hand"}[i%2],
		}
		var score struct{ MedianRunMm float64 }
		s.call(t, "POST", at+":score", object{"layering": tile["layering"], "firing": tile["firing"]}, &score)
		run := math.Round(10*score.MedianRunMm*math.Exp(0.25+0.35*math.Sin(float64(i)*2.4))) / 10
		switch {
		case i == 7:
			tile["runMm"] = 29.0 // one that ran as nobody would expect
		case run >= 30:
			tile["ranOff"] = object{}
		case run < 0.5:
			tile["didNotMove"] = object{}
		default:
			tile["runMm"] = run
		}
		s.call(t, "POST", at+"/tiles?tileId="+fmt.Sprintf("t%03d", i+1), tile, nil)
	}
	if tiles > 0 {
		s.call(t, "POST", at+"/calibrations:fit", object{}, nil)
	}
}
