package service

import (
	"context"

	"telltale/engine"
)

// Due is the due list over all partitions, ordered by what to do first. Where some
// do not answer within 2 s, the rest comes with an *Incomplete, here and below.
func (s *Service) Due(ctx context.Context, q engine.DueQuery) ([]engine.DueItem, error) {
	return Due.Of(ctx, s, Question{Vehicle: q.Vehicle, Ahead: q.Ahead, Tag: q.Tag, On: q.On})
}

// Alarms lists what stands, in order of vehicle, rule and component.
func (s *Service) Alarms(ctx context.Context) ([]engine.Standing, error) {
	return Alarms.Of(ctx, s, Question{})
}

// AlarmsOf lists what stands of one vehicle.
func (s *Service) AlarmsOf(ctx context.Context, vehicle string) ([]engine.Standing, error) {
	return Alarms.Of(ctx, s, Question{Vehicle: vehicle})
}

// Verdicts reads the latest sample of a component of a vehicle; of each where
// component is empty.
func (s *Service) Verdicts(ctx context.Context, vehicle, component string) ([]engine.Verdict, error) {
	return Samples.Of(ctx, s, Question{Vehicle: vehicle, Component: component})
}

// Registered is the registration of a vehicle that counts; nil where there is none.
func (s *Service) Registered(ctx context.Context, vehicle string) (*engine.VehicleData, error) {
	list, err := registered.Of(ctx, s, Question{Vehicle: vehicle})
	if len(list) == 0 {
		return nil, err
	}
	return list[0], err
}
