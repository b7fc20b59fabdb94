package board_test

import "testing"

// TestSheetTypedIn: whoever keeps Bus 7 types a laboratory's sheet in on a telephone, with
// what is printed as below a limit and the printed average; sees what would follow, reads
// what it says, and takes it back.
func TestSheetTypedIn(t *testing.T) {
	f := fleet(t, "")
	tab := as(t, f, 360, true, "Ines Thornbeck", "Tobias Wrenfold")
	tab.Press("Today")
	tab.Press("Bus 7")
	tab.Press("Enter a sample")
	tab.Press("transmission (ATF)")
	tab.Type("The laboratory's number of the sheet", "L-2201")
	tab.Type("Drawn on", "2031-06-05")
	tab.Type("Odometer when it was drawn", "71100")
	tab.Type("Laboratory", "Valley")
	tab.Type("Iron (Fe)", "60")
	tab.Type("Copper (Cu)", "88")
	tab.Type("Lead (Pb)", "<1")
	tab.Type("Another result", "Tin (Sn)")
	tab.Press("Add it")
	tab.Type("Tin (Sn)", "1,2,3")
	tab.Press("The sheet prints averages too")
	tab.Type("Average of Copper (Cu)", "20")
	tab.Press("Look at what follows")
	tab.Has("Not entered yet", "1,2,3: write 123.")
	tab.Type("Tin (Sn)", "")
	tab.Press("Look at what follows")
	tab.Has("What would follow", "Copper 88 mg/kg is 2.2 times the baseline.", "lead below 1", "Draw the sample before any drain")
	tab.Press("Enter it")
	tab.Has("Sample L-2201 of transmission, 5 Jun 2031.", "What followed")
	tab.Press("Bus 7")
	tab.Press("Sample L-2201")
	tab.Has("Sample L-2201 of the transmission", "Laboratory's average 20 mg/kg", "below 1 mg/kg", "At most 0.13 times the baseline")
	const offered = `Do "transmission fluid" at 72,000 mi`
	tab.Has(offered)
	tab.Press("Accept the offer")
	tab.Has("Accept the offer", "cures nothing")
	tab.Type("Why", "the pan is off anyway")
	tab.Press("Accept the offer")
	tab.Has("What followed", "72,000 mi")
	tab.Press("Take it back")
	tab.Has("Taken back", "It counts for nothing any more.")
	tab.Press("Bus 7")
	tab.Has(offered)
	for _, c := range tab.Complaints() {
		t.Error(c)
	}
}
