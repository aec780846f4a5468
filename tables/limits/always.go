package limits

// AlwaysOn are the rules that a comparison brings itself, each with the reason that its findings
// give. No rule of a file may have such an id: a finding's key must say which rule it was.
var AlwaysOn = map[string]string{
	"identity":            "A file made for another controller, software or car can disable the one it is written to.",
	"unmapped-bytes":      "What the definition does not describe, nobody has judged.",
	"checksum":            "A controller may refuse to start on a sum that does not fit.",
	"not-finite":          "A controller cannot compute with a value that is not a number.",
	"axis-order":          "A controller that searches breakpoints expects them in order.",
	"mirror":              "A controller compares the two copies and may shut down when they disagree.",
	"meaning-moved":       "The tables named here are now read at other points, though their cells stand as they were.",
	"copies":              "Tables of one group are meant to change together.",
	"not-meant":           "The author did not say that this table was to change.",
	"no-limit":            "No rule of the limits looked at this table, which is not the same as clear.",
	"rule-error":          "A rule that cannot be evaluated protects nobody.",
	"overlap":             "Bits of one are bits of the other: who changes one changes both.",
	"undecided":           "What could not be decided may lie beyond its limit.",
	"new-ground":          "The engine now gets into cells of these tables that it could not reach before.",
	"protection-weakened": "What this table protects the engine from is now let closer to it.",
	"pointer":             "Where a pointer or a count leads, the controller reads, whatever lies there.",
	"switched-off":        "A cell that holds a code and no value takes its table out of use there, or puts it back.",
	"carried":             "What the car came with is not this change's doing, and it is there all the same.",
}

// AlwaysOnSource is the source that their findings give.
const AlwaysOnSource = "always on, whatever the limits say"
