package plant

// Units in which the tables are written; the plant itself is in SI with gauge pressures.
const (
	bar   = 1e5
	mL    = 1e-6
	mm2   = 1e-6
	perMn = mL / 60               // mL/min in m3/s
	rpm   = 3.14159265358979 / 30 // r/min in rad/s
)

// Params is one supply unit with its hoses and its surroundings. Every field is a number with its unit, the
// range in which the plant may be believed, the spread between units (one standard deviation, relative or,
// with the unit, absolute) and its source: "bench" is the reference unit of the bench's description,
// "physics" the reference values, "invented" ours.
type Params struct {
	// Supply and wiring.
	SupplyVolts     float64 `unit:"V" range:"10..30" spread:"0.2 V" from:"bench"`
	SupplySag       float64 `unit:"ohm" range:"0..0.1" spread:"30%" from:"invented"`
	WiringOhms      float64 `unit:"ohm" range:"0.01..4" spread:"8%" from:"bench"`
	Electronics     float64 `unit:"A" range:"0..1" spread:"20%" from:"invented"`
	SensorSupply    float64 `unit:"V" range:"0..5.5" spread:"0.02 V" from:"bench"`
	BrushDrop       float64 `unit:"V" range:"0..1.5" spread:"20%" from:"invented"`
	MotorOhms       float64 `unit:"ohm at 20 °C" range:"0.3..10" spread:"3%" from:"bench"`
	MotorConstant   float64 `unit:"V s/rad" range:"0.005..0.2" spread:"2%" from:"bench"`
	MotorInertia    float64 `unit:"kg m2" range:"5e-6..3e-4" spread:"10%" from:"invented"`
	FrictionDry     float64 `unit:"N m" range:"0.0005..0.2" spread:"15%" from:"invented"`
	FrictionViscous float64 `unit:"N m s/rad" range:"0..1e-4" spread:"20%" from:"invented"`
	WindingCapacity float64 `unit:"J/K" range:"5..400" spread:"10%" from:"invented"`
	WindingCooling  float64 `unit:"W/K" range:"0.02..3" spread:"15%" from:"invented"`
	CoilOhms        float64 `unit:"ohm at 20 °C" range:"2..100" spread:"2%" from:"bench"`
	CoilCapacity    float64 `unit:"J/K" range:"20..400" spread:"10%" from:"invented"`
	CoilCooling     float64 `unit:"W/K" range:"0.05..3" spread:"15%" from:"invented"`
	CoilPull        float64 `unit:"A" range:"0.05..5" spread:"10%" from:"invented"`
	HeaterOhms      float64 `unit:"ohm at 20 °C" range:"0.5..20" spread:"2%" from:"bench"`
	HeaterSlope     float64 `unit:"1/K" range:"0..0.001" spread:"20%" from:"physics: NiCr below 2e-4"`
	HeaterCapacity  float64 `unit:"J/K" range:"50..2000" spread:"10%" from:"invented"`
	HeaterCooling   float64 `unit:"W/K" range:"0.1..20" spread:"15%" from:"invented"`
	DoserCoilOhms   float64 `unit:"ohm" range:"3..50" spread:"3%" from:"invented"`

	// Pump.
	Stroke       float64 `unit:"m3" range:"1e-8..1e-6" spread:"1.5%" from:"bench"`
	DeadVolume   float64 `unit:"m3" range:"1e-9..1e-6" spread:"10%" from:"invented"`
	HeadStretch  float64 `unit:"m3/Pa" range:"1e-17..1e-13" spread:"15%" from:"invented: diaphragm and head give way"`
	SeatTime     float64 `unit:"s" range:"0..0.01" spread:"20%" from:"invented: valves close late"`
	PumpThrough  float64 `unit:"m2" range:"1e-7..1e-5" spread:"10%" from:"invented: both valves in series"`
	SuctionArea  float64 `unit:"m2" range:"1e-8..2e-5" spread:"10%" from:"invented: inlet filter and line"`
	SuctionSpace float64 `unit:"m3" range:"1e-6..3e-4" spread:"4%" from:"bench"`
	Lift         float64 `unit:"m" range:"-1..3" spread:"0.05 m" from:"invented"`
	SeatLeak     float64 `unit:"m3/s/Pa" range:"0..1e-12" spread:"50%" from:"bench: 0.1 mL/min at 9 bar"`

	// Line.
	FilterLoss   float64 `unit:"Pa s/m3" range:"1e8..1e12" spread:"20%" from:"invented"`
	HeadSpace    float64 `unit:"m3/Pa" range:"1e-14..2e-12" spread:"10%" from:"invented: elastic volume between pump and filter"`
	LineVolume   float64 `unit:"m3" range:"2e-6..4e-4" spread:"1%" from:"bench"`
	LineRadius   float64 `unit:"m" range:"5e-4..5e-3" spread:"1%" from:"bench"`
	LineLength   float64 `unit:"m" range:"0.3..12" spread:"1%" from:"bench"`
	HoseStretch  float64 `unit:"m3/Pa" range:"1e-13..4e-11" spread:"8%" from:"bench: part of 0.4 mL/bar"`
	Creep1       float64 `unit:"of HoseStretch" range:"0..0.3" spread:"20%" from:"invented"`
	Creep2       float64 `unit:"of HoseStretch" range:"0..0.3" spread:"20%" from:"invented"`
	Creep3       float64 `unit:"of HoseStretch" range:"0..0.3" spread:"20%" from:"invented"`
	CreepTime1   float64 `unit:"s" range:"0.1..5" spread:"15%" from:"invented"`
	CreepTime2   float64 `unit:"s" range:"2..40" spread:"15%" from:"invented"`
	CreepTime3   float64 `unit:"s" range:"20..600" spread:"15%" from:"invented"`
	PocketAir    float64 `unit:"m3 at ambient pressure" range:"0..2e-5" spread:"40%" from:"invented: air that no flow takes away"`
	WetFrom      float64 `unit:"of LineVolume" range:"0.5..0.99" spread:"0.5%" from:"invented: fluid reaches the outlet"`
	WetTo        float64 `unit:"of LineVolume" range:"0.6..0.999" spread:"0.3%" from:"invented"`
	BubbleSlip   float64 `unit:"1" range:"0.01..1" spread:"25%" from:"invented: bubbles travel slower than fluid"`
	Polytropic   float64 `unit:"1" range:"1..1.4" spread:"5%" from:"physics: 1 isothermal, 1.4 adiabatic"`
	FilmLoss     float64 `unit:"of LineVolume" range:"0.01..0.2" spread:"15%" from:"physics: 3.6 to 14 % left by a plug"`
	SensorHeight float64 `unit:"m" range:"-2..2" spread:"0.05 m" from:"invented: gauge above the unit's sensor"`
	LineTime     float64 `unit:"s" range:"20..2000" spread:"20%" from:"invented: hose to room"`

	// Return.
	ReturnArea     float64 `unit:"m2" range:"5e-9..1e-6" spread:"3%" from:"bench"`
	ReturnReynolds float64 `unit:"1" range:"0..20" spread:"20%" from:"invented: discharge falls by this over sqrt(Re)"`
	CheckOpens     float64 `unit:"Pa" range:"0..2e5" spread:"6%" from:"bench"`
	CheckShuts     float64 `unit:"of CheckOpens" range:"0.3..1" spread:"5%" from:"invented: hysteresis"`
	CheckSlope     float64 `unit:"Pa s/m3" range:"0..1e10" spread:"20%" from:"invented: spring of the check valve"`

	// Valves.
	SpoolTime   float64 `unit:"s" range:"0.005..1" spread:"15%" from:"invented"`
	CoilTime    float64 `unit:"s" range:"0.001..0.2" spread:"15%" from:"invented"`
	DoserArea   float64 `unit:"m2" range:"2e-9..5e-7" spread:"1%" from:"bench"`
	DoserAir    float64 `unit:"1" range:"0.1..1" spread:"12%" from:"invented: air passes the spray holes worse than fluid"`
	DoserRate   float64 `unit:"Hz" range:"1..20" spread:"0%" from:"bench"`
	DoserLost   float64 `unit:"s" range:"0..0.01" spread:"8%" from:"bench"`
	DoserDrip   float64 `unit:"m3/s/Pa" range:"0..1e-13" spread:"50%" from:"invented"`
	VentArea    float64 `unit:"m2" range:"1e-8..1e-5" spread:"5%" from:"invented"`
	ShutoffTime float64 `unit:"s" range:"0.01..1" spread:"10%" from:"invented"`

	// Surroundings.
	Barometer    float64 `unit:"Pa" range:"70000..107000" spread:"900 Pa" from:"invented"`
	RoomCelsius  float64 `unit:"°C" range:"-10..45" spread:"2 °C" from:"invented"`
	TankCelsius  float64 `unit:"°C" range:"-30..50" spread:"2 °C" from:"invented"`
	TankMass     float64 `unit:"kg" range:"0.2..6" spread:"10%" from:"invented"`
	TankTime     float64 `unit:"s" range:"300..1e5" spread:"20%" from:"invented: tank to room"`
	Evaporation  float64 `unit:"kg/s" range:"0..1e-5" spread:"30%" from:"invented: about 3 mg/min off an open beaker"`
	CasingSpace  float64 `unit:"m3" range:"0..2e-5" spread:"20%" from:"invented: fills before it drains to the tank"`
	ResidueLine  float64 `unit:"of LineVolume" range:"0..0.3" spread:"30%" from:"invented: fluid left in it at the start"`
	ResidueSuck  float64 `unit:"of SuctionSpace" range:"0..1" spread:"30%" from:"invented"`
	NominalGauge float64 `unit:"Pa" range:"2e5..1.4e6" spread:"0%" from:"bench: common practice"`
}
