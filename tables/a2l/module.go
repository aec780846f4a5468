package a2l

// Module is what one controller's description says. Objects stand in the order of the file.
type Module struct {
	Place
	Name, Title string
	ByteOrder   string // as written; empty where nothing says it
	Align       Align
	Deposit     string // ABSOLUTE (if empty) or DIFFERENCE

	Software          string // the EPK; empty where there is none
	SoftwareAt        []uint64
	CalibrationOffset int64 // that addresses are to be moved by
	Memory            []Memory

	Characteristics []*Characteristic
	AxisPts         []*AxisPts
	Methods         map[string]*Method
	Tables          map[string]*Table
	Layouts         map[string]*Layout
	Groups          []*Group
	Variants        map[string][]string // names of objects whose address a variant decides: the criteria

	Faults []Fault // objects that are not among the above
}

// Fault is an object that could not be read, or is of a kind that is not.
type Fault struct {
	Place
	Block, Name string
	Why         string
}

// Memory is one MEMORY_SEGMENT.
type Memory struct {
	Place
	Name, Holds, Kind string // Holds: CODE, DATA, …; Kind: FLASH, RAM, …
	Address, Size     uint64
}

// Characteristic is a table. Limits are physical.
type Characteristic struct {
	Place
	Name, Title, Type   string // Type: VALUE, CURVE, MAP, CUBOID, CUBE_4, CUBE_5, VAL_BLK, ASCII
	Address             uint64
	Layout, Method      string
	Lower, Upper        float64
	Axes                []*AxisDescr
	ByteOrder, Encoding string // empty where left out
	Unit                Unit
	Mask                *uint64
	Extension           int64
	Dims                []uint64 // of MATRIX_DIM, or the one of NUMBER
	Functions           []string // that it says it belongs to
	Virtual, Dependent  *Formula
}

// Unit is a PHYS_UNIT.
type Unit struct {
	Given bool
	Text  string
}

// Formula is of the values of other objects, which it calls X1, X2, …
type Formula struct {
	Text string
	Of   []string
}

// AxisDescr is one axis of a characteristic.
type AxisDescr struct {
	Place
	Kind, Input, Method string // Kind: STD_AXIS, COM_AXIS, FIX_AXIS, RES_AXIS, CURVE_AXIS
	Most                uint64
	Ref                 string // of an AXIS_PTS, or of the curve
	ByteOrder, Deposit  string
	Unit                Unit
	Fixed               Fixed
}

// Fixed are raw breakpoints that are not stored: as listed, or Count of them, each a Gap after the one before. Numbers
// are as written.
type Fixed struct {
	Given       bool
	Offset, Gap string
	Count       uint64
	List        []string
}

// AxisPts are breakpoints that characteristics share.
type AxisPts struct {
	Place
	Name                  string
	Address               uint64
	Input, Layout, Method string
	Most                  uint64
	ByteOrder, Deposit    string
	Unit                  Unit
	Extension             int64
}

// Method is a COMPU_METHOD. Numbers are as written.
type Method struct {
	Place
	Name, Type, Unit string // Type: IDENTICAL, LINEAR, RAT_FUNC, TAB_INTP, TAB_NOINTP, TAB_VERB, FORM
	Coeffs           []string
	Formula          string
	Table, Status    string
}

// Table is a COMPU_TAB, COMPU_VTAB or COMPU_VTAB_RANGE: rows of a raw value, or of two ends, and what it means.
type Table struct {
	Place
	Name, Block string
	Rows        []Row
	Default     string // text of the verbal ones; of the others as written
	HasDefault  bool
}

// Row is one of a Table. Low and High are the same but of ranges; Means is a number, as written, or a text.
type Row struct {
	Low, High float64
	Means     string
}

// Layout is a RECORD_LAYOUT: its elements by position, and what it says of alignment.
type Layout struct {
	Place
	Name       string
	Elements   []Element
	Align      Align
	FixedCount [5]uint64 // of FIX_NO_AXIS_PTS; 0 where left out
	Static     bool      // nothing moves where fewer breakpoints are used
	StaticAt   bool      // parts stay where they begin
}

// Element is one part of a record. Axis is 0 for x to 4, -1 for none.
type Element struct {
	Place
	What     string // FNC_VALUES, AXIS_PTS, NO_AXIS_PTS, … without the axis
	Axis     int
	Position uint64
	Type     string // UBYTE, …; BYTE, WORD, LONG of RESERVED
	Order    string // ROW_DIR, …; INDEX_INCR, …
	Address  string // DIRECT, PBYTE, PWORD, PLONG, PLONGLONG
	Most     uint64 // of AXIS_RESCALE
}

// Align are borders in bytes by the kind of type: BYTE, WORD, LONG, INT64, FLOAT16_IEEE, FLOAT32_IEEE, FLOAT64_IEEE.
type Align map[string]uint64

// Group is a FUNCTION or a GROUP.
type Group struct {
	Place
	Block, Name, Title string
	Objects, Inside    []string
}
