package stream

import "telltale/engine"

// Registered is the registration of a vehicle that counts; nil where there is none.
func (s *Service) Registered(vehicle string) *engine.VehicleData {
	w := s.workers[Partition(vehicle)]
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.fold.Registered(vehicle)
}
