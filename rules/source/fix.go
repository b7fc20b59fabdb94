package source

// Fix is a cure that an editor can apply: the Width characters from Line and Col on,
// both from 1, become Text.
type Fix struct {
	Line  int    `json:"line"`
	Col   int    `json:"column"`
	Width int    `json:"width"`
	Text  string `json:"text"`
}
