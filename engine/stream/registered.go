package stream

import (
	"context"
	"fmt"

	"telltale/engine"
	"telltale/engine/intake"
)

// LastRegistration is the last registration of a vehicle in the log, whether or not
// it is folded yet; nil where there is none that can be read.
func (l *Log) LastRegistration(ctx context.Context, vehicle string) (*engine.VehicleData, error) {
	subject := fmt.Sprintf("telltale.event.%d.%s.%s", Partition(vehicle), intake.Token(vehicle), engine.VehicleEvent)
	m, err := lastOn(ctx, l.events, subject, l.patience)
	if err != nil || m == nil {
		return nil, err
	}
	ev, bad := intake.DecodeMessage(m.Subject, m.Data)
	if bad != nil {
		return nil, nil // it was refused
	}
	return ev.Data.(*engine.VehicleData), nil
}
