package language

// The parts of the Language Server Protocol, version 3.17, that the server speaks. Names
// and numbers are those of its specification.

type initializeResult struct {
	Capabilities capabilities `json:"capabilities"`
	ServerInfo   serverInfo   `json:"serverInfo"`
}

type serverInfo struct {
	Name    string `json:"name"`
	Version string `json:"version,omitempty"`
}

type capabilities struct {
	PositionEncoding string             `json:"positionEncoding"`
	TextDocumentSync int                `json:"textDocumentSync"`
	Hover            bool               `json:"hoverProvider"`
	Completion       completionProvider `json:"completionProvider"`
	CodeAction       codeActionProvider `json:"codeActionProvider"`
}

type completionProvider struct {
	Triggers []string `json:"triggerCharacters"`
}

type codeActionProvider struct {
	Kinds []string `json:"codeActionKinds"`
}

// fullSync: the whole text of a document comes with each change.
const fullSync = 1

// position counts lines from 0 and, in a line, units of UTF-16.
type position struct {
	Line      int `json:"line"`
	Character int `json:"character"`
}

type span struct {
	Start position `json:"start"`
	End   position `json:"end"`
}

type documentID struct {
	URI     string `json:"uri"`
	Version int    `json:"version"`
}

type opened struct {
	Document struct {
		documentID
		Text string `json:"text"`
	} `json:"textDocument"`
}

type changed struct {
	Document documentID `json:"textDocument"`
	Changes  []struct {
		Text string `json:"text"`
	} `json:"contentChanges"`
}

// ofDocument are the parameters of what is said of a whole document.
type ofDocument struct {
	Document documentID `json:"textDocument"`
}

// at are the parameters of a question about one place.
type at struct {
	Document documentID `json:"textDocument"`
	Position position   `json:"position"`
}

type diagnostics struct {
	URI         string       `json:"uri"`
	Version     int          `json:"version,omitempty"`
	Diagnostics []diagnostic `json:"diagnostics"`
}

type diagnostic struct {
	Range    span   `json:"range"`
	Severity int    `json:"severity"`
	Source   string `json:"source"`
	Message  string `json:"message"`
}

// The severities of diagnostics.
const (
	severityError = 1 + iota
	severityWarning
	severityInformation
)

type hover struct {
	Contents markup `json:"contents"`
	Range    *span  `json:"range,omitempty"`
}

type markup struct {
	Kind  string `json:"kind"` // always "markdown"
	Value string `json:"value"`
}

type completion struct {
	Label         string  `json:"label"`
	Kind          int     `json:"kind"`
	Detail        string  `json:"detail,omitempty"`
	Documentation *markup `json:"documentation,omitempty"`
	InsertText    string  `json:"insertText,omitempty"`
}

// The kinds of completions, by which editors draw a sign beside each.
const (
	kindFunction  = 3
	kindField     = 5
	kindProperty  = 10
	kindValue     = 12
	kindKeyword   = 14
	kindReference = 18
)

type actionQuestion struct {
	Document documentID `json:"textDocument"`
	Range    span       `json:"range"`
}

type codeAction struct {
	Title       string        `json:"title"`
	Kind        string        `json:"kind"`
	Diagnostics []diagnostic  `json:"diagnostics"`
	Preferred   bool          `json:"isPreferred,omitempty"`
	Edit        workspaceEdit `json:"edit"`
}

type workspaceEdit struct {
	Changes map[string][]textEdit `json:"changes"`
}

type textEdit struct {
	Range   span   `json:"range"`
	NewText string `json:"newText"`
}
