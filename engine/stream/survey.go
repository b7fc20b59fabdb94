package stream

import (
	"encoding/json"

	"telltale/engine"
)

// surveyPieces is a part of a survey, or the parts that a long one is published in.
func surveyPieces(s *engine.SurveyPart) []engine.Output {
	if b, err := json.Marshal(s); len(s.Samples) <= 1 || err == nil && len(b) <= maxOutput {
		return []engine.Output{{Survey: s}}
	}
	half := len(s.Samples) / 2
	first, second := *s, *s
	first.Samples, second.Samples = s.Samples[:half:half], s.Samples[half:]
	return append(surveyPieces(&first), surveyPieces(&second)...)
}
