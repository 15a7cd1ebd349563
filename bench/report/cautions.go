package report

// cautions stand on every page that leaves the bench.
var cautions = []pair{
	{"Pressure", "The line works at about 9 bar. Relieve it and read a gauge before a fitting is opened; " +
		"wear eye protection."},
	{"Electricity", "12 or 24 V at high current. Switch off and disconnect the supply before connectors " +
		"are opened."},
	{"Heat", "Heater, coils and motor can be hot long after a test."},
	{"DEF (AUS 32)", "Keep it off skin and eyes, rinse with water. It corrodes copper, aluminium and " +
		"plain steel, creeps " +
		"into connectors and crystallises: rinse and dry them at once."},
}

// deferral says what comes before anything that we print.
const deferral = "The unit maker's data, local codes and licensed practice come before anything on this " +
	"page. It states what was " +
	"measured on this bench on this day; it does not release a unit for a vehicle by itself."
