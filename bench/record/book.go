package record

import "time"

// BookFile is the shop's book in the out folder: one JSON object a line, appended and never changed, each with
// its number, the hash of the line before it and a signature (see Line). It is the truth: which runs there
// are and in what order, units coming in and going out, what strip-downs showed, and the shop's own
// settings. The index is made from it and from the run folders, and is made again whenever it does not fit.
const BookFile = "book.jsonl"

// Kinds of notes in the book.
const (
	NoteIntake  = "intake"  // a unit came in: opens a visit
	NoteAmend   = "amend"   // more about an open visit
	NoteFound   = "found"   // what the strip-down showed
	NoteRelease = "release" // the unit went out: closes the visit
	NoteWatch   = "watch"   // the vehicle was listened to
	NoteShop    = "shop"    // name and address of the shop
	NotePriors  = "priors"  // how common each cause is in this shop; none: the program's own

	NoteNode = "node" // the bench's I/O node was tried over the bus

	NoteBegin   = "begin"   // the book begins, or goes on signed where an unsigned one ended
	NoteOpened  = "opened"  // a run is about to begin: nothing has moved yet
	NoteBooked  = "booked"  // a run's record is whole and sealed, or says why it never will be
	NoteAdopted = "adopted" // a run from before the book was signed, with what could be proven of it
	NoteKey     = "key"     // another key may write in this book
	NoteRevoked = "revoked" // a key was lost or stolen: nothing of it is believed after an entry
	NoteReissue = "reissue" // a certificate was written again
	NotePolicy  = "policy"  // which scenarios, by hash, a unit may be released on
	NoteDamage  = "damage"  // damage to the book that a person has looked at
)

// Note is one line of the book. Which fields count depends on its kind.
type Note struct {
	Kind        string             `json:"note"`
	Time        time.Time          `json:"time"`
	By          string             `json:"by,omitempty"`
	Visit       string             `json:"visit,omitempty"`
	Serial      string             `json:"serial,omitempty"`
	UnitKind    string             `json:"unit_kind,omitempty"`
	Hours       float64            `json:"hours,omitempty"`
	Owner       string             `json:"owner,omitempty"`
	Complaint   string             `json:"complaint,omitempty"`
	Faults      []FaultSeen        `json:"faults,omitempty"`
	Parts       []string           `json:"parts,omitempty"`
	Cause       string             `json:"cause,omitempty"`
	Remark      string             `json:"remark,omitempty"`
	Run         string             `json:"run,omitempty"`
	Certificate string             `json:"certificate,omitempty"`
	Watch       *VehicleCheck      `json:"watch,omitempty"`
	Bench       *BenchNote         `json:"bench,omitempty"`
	Node        *NodeNote          `json:"node,omitempty"`
	Name        string             `json:"name,omitempty"`
	Address     string             `json:"address,omitempty"`
	Priors      map[string]float64 `json:"priors,omitempty"`

	Begin  *Begin   `json:"begin,omitempty"`
	Opened *Opened  `json:"opened,omitempty"`
	Booked *Booked  `json:"booked,omitempty"`
	Key    *KeyNote `json:"about_key,omitempty"`
	Policy []Policy `json:"policy,omitempty"`
	Seal   string   `json:"seal,omitempty"`    // of a release: hash of the certificate's seal
	Lost   []int64  `json:"damaged,omitempty"` // of damage: numbers of the entries
}

// Begin is what the first entry of a book says.
type Begin struct {
	Public string `json:"public"`           // the key that may write in this book, base64
	Bytes  int64  `json:"before,omitempty"` // length and hash of what stood in the book before it was signed
	SHA256 string `json:"before_sha256,omitempty"`
}

// Opened is what a run is, stated before it begins: whatever its folder says later must agree.
type Opened struct {
	Scenario     string    `json:"scenario"`
	ScenarioHash string    `json:"scenario_sha256"`
	Rig          string    `json:"rig"`
	RigHash      string    `json:"rig_sha256"`
	Bus          string    `json:"bus"`
	Simulated    bool      `json:"simulated,omitempty"`
	Started      time.Time `json:"started"`
}

// Booked is what became of a run.
type Booked struct {
	Seal      string `json:"seal,omitempty"` // SHA-256 of the statement that seals it; "": there is nothing to seal
	Verdict   string `json:"verdict"`
	Recovered bool   `json:"recovered,omitempty"` // put away by recover
	Why       string `json:"why,omitempty"`       // what could not be proven
}

// KeyNote is about a key.
type KeyNote struct {
	Public string `json:"public,omitempty"` // base64, of a key that is let in
	Print  string `json:"fingerprint"`
	Holder string `json:"holder,omitempty"`
	After  int64  `json:"after,omitempty"` // of a revoked one: the last entry of it that is believed
}

// Policy is one scenario that a unit may be released on.
type Policy struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"` // of its text
}

// FaultSeen is a trouble code that the unit came in with.
type FaultSeen struct {
	Source *uint8 `json:"source,omitempty"` // nil: not known
	SPN    uint32 `json:"spn"`
	FMI    uint8  `json:"fmi"`
	Count  *uint8 `json:"count,omitempty"`  // nil: not available
	Active *bool  `json:"active,omitempty"` // nil: not known
	Origin string `json:"origin"`           // typed, or what it was read from
}
