package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"telltale/engine/alarm"
	"telltale/engine/stream/service"
)

// monitor serves what the service tells of itself: /metrics, /healthz (may it go
// on running?) and /readyz (does it answer, and from all that was in the log?).
type monitor struct {
	app    atomic.Pointer[app] // nil until it is up
	server *http.Server
	addr   string
}

// startMonitor listens before the service is up, so that waiting for NATS shows.
func startMonitor(address string, logger *slog.Logger) (*monitor, error) {
	m := &monitor{}
	reg := prometheus.NewRegistry()
	reg.MustRegister(m, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(reg, promhttp.HandlerOpts{MaxRequestsInFlight: 4, Timeout: 10 * time.Second}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { answerCheck(w, m.alive()) })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) { answerCheck(w, m.ready()) })
	m.server = &http.Server{Handler: mux, ReadTimeout: 5 * time.Second, WriteTimeout: 15 * time.Second, IdleTimeout: time.Minute,
		ErrorLog: slog.NewLogLogger(logger.Handler(), slog.LevelWarn)}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("serving metrics: %w", err)
	}
	m.addr = l.Addr().String()
	logger.Info("serving metrics", "address", "http://"+m.addr+"/metrics")
	go func() {
		if err := m.server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			logger.Error("serving metrics", "error", err)
		}
	}()
	return m, nil
}

func (m *monitor) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	if err := m.server.Shutdown(ctx); err != nil {
		return m.server.Close() // a scrape that does not end
	}
	return nil
}

func answerCheck(w http.ResponseWriter, err error) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err != nil {
		w.WriteHeader(http.StatusServiceUnavailable)
		fmt.Fprintln(w, err)
		return
	}
	fmt.Fprintln(w, "ok")
}

// alive says why the process had better be started again; nil while it comes up.
func (m *monitor) alive() error {
	a := m.app.Load()
	if a == nil {
		return nil
	}
	select {
	case <-a.svc.Done():
		return errors.Join(errors.New("the partitions have ended"), a.svc.Err())
	default:
		return nil
	}
}

// ready says why the service does not answer from all that was in the log.
func (m *monitor) ready() error {
	a := m.app.Load()
	switch {
	case a == nil:
		return errors.New("coming up")
	case !a.nc.IsConnected():
		return errors.New("no connection to NATS")
	case m.alive() != nil:
		return m.alive()
	case !a.svc.Health().Ready:
		return errors.New("partitions are catching up")
	}
	return nil
}

// Describe implements prometheus.Collector.
func (m *monitor) Describe(ch chan<- *prometheus.Desc) { prometheus.DescribeByCollect(m, ch) }

// Collect implements prometheus.Collector. No label has more values than there are
// partitions, stages or reasons: a vehicle's name is never one.
func (m *monitor) Collect(ch chan<- prometheus.Metric) {
	a := m.app.Load()
	gauge(ch, "up", "1 once the service is up.", truth(a != nil))
	if a == nil {
		return
	}
	h := a.svc.Health()
	collectHealth(ch, h)
	if q := a.notify.Queue(); q != nil {
		n, oldest := q.Backlog()
		gauge(ch, "deliveries_waiting", "Messages to people that are not sent yet; reported by the replica that sends.", float64(n))
		for way, n := range q.Tally() {
			count(ch, "messages_total", "Messages to people that were sent, or failed for good, by way; since this replica began to send.", float64(n.Sent), "way", way, "result", "sent")
			count(ch, "messages_total", "Messages to people that were sent, or failed for good, by way; since this replica began to send.", float64(n.Failed), "way", way, "result", "failed")
		}
		gauge(ch, "oldest_delivery_age_seconds", "Age of the oldest message to people that is not sent yet; 0 if there is none.", age(oldest))
	}
	for seat, n := range a.svc.Held() {
		gauge(ch, "seats_held", "Work that only one replica does at a time and this one does now: partitions that it folds, ticks of the clock, notify, baselines.", float64(n), "seat", seat)
	}
	count(ch, "owner_changes_total", "Partitions that this replica has taken over, including those at its start.", float64(a.svc.Claims()))
	gauge(ch, "replicas", "Live replicas that share the partitions.", float64(max(1, len(h.Replicas))))
	gauge(ch, "clock_suspect", "1 while ticks are held because the wall clock jumped.", truth(a.suspect.Load()))
	if a.pair != nil {
		ends, _ := a.pair.Ends()
		gauge(ch, "certificate_expiry_timestamp_seconds", "When the certificate ends under which the service is reached.", float64(ends.Unix()))
	}
	gauge(ch, "reload_success", "1 if the folder had no faults when it was read last.", truth(a.fault.Load() == nil || a.fault.Load() == ""))
	gauge(ch, "reload_timestamp_seconds", "When the folder was read last.", float64(a.read.Load()))
}

func collectHealth(ch chan<- prometheus.Metric, h service.Health) {
	stages, reasons, notJudged, active := map[string]int{}, map[string]int{}, 0, map[alarm.Stage]int{}
	for _, p := range h.Partitions {
		label := strconv.Itoa(p.Partition)
		count(ch, "events_total", "Events folded, by partition.", float64(p.Events), "partition", label)
		gauge(ch, "event_lag", "Events that wait behind the last one folded.", float64(p.Lag), "partition", label)
		gauge(ch, "log_epoch", "1, plus how often the log of events went back or was made anew, by partition.", float64(p.Epoch), "partition", label)
		gauge(ch, "checkpoint_age_seconds", "Time since the partition's checkpoint was written; none is written while nothing changes.", age(p.Saved), "partition", label)
		gauge(ch, "vehicles", "Vehicles with a record at the last checkpoint.", float64(p.Vehicles), "partition", label)
		addAll(stages, p.Stages)
		addAll(reasons, p.Reasons)
		notJudged += p.NotJudged
		for stage, n := range p.Active {
			active[stage] += n
		}
	}
	for stage, n := range active {
		gauge(ch, "alarms_active", "Alarms that are active, of the partitions that this replica folds, by stage; including those put aside and those of vehicles out of service.", float64(n), "stage", string(stage))
	}
	for stage, n := range stages {
		count(ch, "transitions_total", "Transitions of alarms, by the stage they lead to.", float64(n), "stage", stage)
	}
	for reason, n := range reasons {
		count(ch, "refused_total", "Events that could not be used, by reason.", float64(n), "reason", reason)
	}
	count(ch, "not_judged_total", "Rules that were not judged because something was missing.", float64(notJudged))
	if !h.Now.IsZero() {
		gauge(ch, "last_tick_timestamp_seconds", "The clock of the log.", float64(h.Now.Unix()))
	}
	if h.Book != "" {
		gauge(ch, "book_info", "The rules in force, by their hash.", 1, "book", h.Book)
	}
}

func addAll(to, from map[string]int) {
	for k, n := range from {
		to[k] += n
	}
}

// gauge sends what goes up and down; label is names of labels, each with its value after
// it.
func gauge(ch chan<- prometheus.Metric, name, help string, v float64, label ...string) {
	ch <- metric(prometheus.GaugeValue, name, help, v, label)
}

// count sends what only grows.
func count(ch chan<- prometheus.Metric, name, help string, v float64, label ...string) {
	ch <- metric(prometheus.CounterValue, name, help, v, label)
}

func metric(kind prometheus.ValueType, name, help string, v float64, label []string) prometheus.Metric {
	var labels, values []string
	for i := 0; i+1 < len(label); i += 2 {
		labels, values = append(labels, label[i]), append(values, label[i+1])
	}
	return prometheus.MustNewConstMetric(prometheus.NewDesc("telltale_"+name, help, labels, nil), kind, v, values...)
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func age(t time.Time) float64 {
	if t.IsZero() {
		return 0
	}
	return max(0, time.Since(t).Seconds())
}
