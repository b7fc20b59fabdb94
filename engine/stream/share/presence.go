package share

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

const (
	// ownersBucket holds a key for each replica that lives.
	ownersBucket = "OWNERS"
	// life is how long a key stays that is not renewed: a replica that was killed is
	// missed after that.
	life = 2 * time.Second
	// renewEvery is how often a replica says that it lives.
	renewEvery = life / 4
	// calm is how long the list of the living must be quiet before it is acted on:
	// several replicas that start or end together are one change.
	calm = 200 * time.Millisecond
	// recess is how long it must be quiet after this replica's own key had run out:
	// the others' may have too, and come back one by one.
	recess = life / 2
	// here is the prefix of the keys of the living, leased that of their leases.
	here, leased = "here.", "lease."
)

// Name is unique to the process that draws it and tells its machine.
func Name() string {
	host, err := os.Hostname()
	if err != nil || host == "" {
		host = "replica"
	}
	host = intake.Token(host)
	return host[:min(len(host), 40)] + "-" + nuid.Next()[14:]
}

// owners opens the bucket, made if need be.
func owners(ctx context.Context, l *stream.Log) (jetstream.KeyValue, error) {
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	kv, err := l.JS.KeyValue(ctx, ownersBucket)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		kv, err = l.JS.CreateKeyValue(ctx, jetstream.KeyValueConfig{
			Bucket: ownersBucket, Description: "the live replicas", Storage: jetstream.FileStorage,
			Replicas: l.Replicas, TTL: life, LimitMarkerTTL: life,
		})
	}
	if errors.Is(err, jetstream.ErrBucketExists) { // another replica was faster
		kv, err = l.JS.KeyValue(ctx, ownersBucket)
	}
	if err != nil {
		return nil, fmt.Errorf("opening bucket %q: %w", ownersBucket, err)
	}
	return kv, nil
}

// presence says that this replica lives, and hears which others do. It makes
// nothing safe: two replicas may have different lists for a moment. What keeps them
// from both publishing is the fence.
type presence struct {
	log *stream.Log
	id  string
	// changed is told the living, in order of name, once they are quiet.
	changed func([]string)
	// lapsed is told that this replica's own key had run out: others may have
	// taken what is its.
	lapsed func()
}

// run goes on until the context ends. The key goes with it unless the context was
// cancelled by ErrCrashed.
func (p *presence) run(ctx context.Context) {
	for pause := calm; ctx.Err() == nil; pause = recess {
		err := p.session(ctx, pause)
		if ctx.Err() != nil {
			break
		}
		p.log.Logger.Debug("presence failed; retrying", "error", err)
		jet.Rest(ctx, renewEvery)
		p.lapsed() // it may have, unheard
	}
	if context.Cause(ctx) == ErrCrashed {
		return
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if kv, err := owners(last, p.log); err == nil {
		_ = kv.Delete(last, here+p.id) // where that fails, the key goes by itself
	}
}

// session is one watch of the bucket. It ends when that hears nothing any more, as
// when the bucket was lost with its server.
// pause is how long the list must be quiet before it is acted on first.
func (p *presence) session(ctx context.Context, pause time.Duration) error {
	kv, err := owners(ctx, p.log)
	if err != nil {
		return err
	}
	if err := p.renew(ctx, kv); err != nil {
		return err
	}
	watch, err := kv.Watch(ctx, here+">")
	if err != nil {
		return fmt.Errorf("watching bucket %q: %w", ownersBucket, err)
	}
	defer watch.Stop()
	r := roll{presence: p, quiet: time.NewTimer(time.Hour), living: map[string]bool{p.id: true}, heard: time.Now(), pause: pause}
	defer r.quiet.Stop()
	beat := time.NewTicker(renewEvery)
	defer beat.Stop()
	for {
		select {
		case e, ok := <-watch.Updates():
			if !ok {
				return errors.New("the watch ended")
			}
			r.take(e)
		case <-r.quiet.C:
			r.pause = calm
			p.changed(slices.Sorted(maps.Keys(r.living)))
		case <-beat.C:
			if time.Since(r.heard) > 2*life {
				return errors.New("the watch hears nothing")
			}
			if err := p.renew(ctx, kv); err != nil && !jet.Unknown(err) {
				return err
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (p *presence) renew(ctx context.Context, kv jetstream.KeyValue) error {
	ctx, cancel := context.WithTimeout(ctx, life)
	defer cancel()
	if _, err := kv.PutString(ctx, here+p.id, ""); err != nil {
		return fmt.Errorf("saying in bucket %q that replica %q lives: %w", ownersBucket, p.id, err)
	}
	return nil
}

// roll is the list of the living as one session hears it.
type roll struct {
	*presence
	quiet  *time.Timer // runs out once the list is to be acted on
	living map[string]bool
	heard  time.Time // when this replica's own key was heard of last
	pause  time.Duration
	full   bool // the keys that were there at the beginning are in
}

func (r *roll) take(e jetstream.KeyValueEntry) {
	if e == nil {
		r.full = true
		r.quiet.Reset(r.pause)
		return
	}
	id := strings.TrimPrefix(e.Key(), here)
	alive := e.Operation() == jetstream.KeyValuePut
	if id == r.id {
		r.heard = time.Now()
		if !alive {
			r.lapsed() // and it is renewed with the next beat
			r.pause = recess
			return
		}
	}
	if alive == r.living[id] {
		return
	}
	if alive {
		r.living[id] = true
	} else {
		delete(r.living, id)
	}
	if r.full {
		r.quiet.Reset(r.pause)
	}
}
