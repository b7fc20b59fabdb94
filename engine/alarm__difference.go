package engine

func stageWords(task bool) []string {
	if task {
		return TaskStages[:]
	}
	return ruleStages[:]
}

// reconcileWord is what a difference is called; empty where there is none that is
// told. That a vehicle is out of service is told by no alarm of its own.
func reconcileWord(said, now string, from, to int, there bool) string {
	switch {
	case from != to:
		return stageWord(from, to, !there)
	case to == 0 || said == now || said == outOfService || now == outOfService:
		return ""
	case now == acknowledged:
		return acked
	case now == shelved:
		return shelvedNow
	case said == shelved:
		return unshelved
	}
	return raised
}
