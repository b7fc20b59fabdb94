package alarm

// StageWords are the words of the stages by number, of tasks or of rules.
func StageWords(task bool) []string {
	if task {
		return TaskStages[:]
	}
	return RuleStages[:]
}

// Difference is what a difference is called; empty where there is none that is
// told. That a vehicle is out of service is told by no alarm of its own.
func Difference(said, now string, from, to int, there bool) string {
	switch {
	case from != to:
		return stageWord(from, to, !there)
	case to == 0 || said == now || said == OutOfService || now == OutOfService:
		return ""
	case now == Acknowledged:
		return NowAcknowledged
	case now == Shelved:
		return NowShelved
	case said == Shelved:
		return Unshelved
	}
	return Raised
}
