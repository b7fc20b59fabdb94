package operator_test

import (
	"strings"
	"testing"

	"telltale/engine/stream/service"
	"telltale/notify/board/operator"
)

// Where partitions do not answer, each page says so and shows what it knows.
func TestMissing(t *testing.T) {
	f := yard(t, 1)
	gone, err := service.Start(t.Context(), f.Log, service.Config{Program: "test", Share: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Service.Stop(); err != nil {
		t.Log(err) // the other may have taken its partitions
	}
	if err := gone.Stop(); err != nil {
		t.Fatal(err)
	}
	f.Frame.Service = gone
	h := f.Frame.Handler(operator.Pages(f.Frame)...)
	for path, knows := range map[string]string{
		"/said": "What has changed", "/deliveries?vehicle=van-000": "No message is here.", "/refused": "All that came in of late could be used.",
		"/baselines": "There are none yet", "/people": "Ines Thornbeck", "/people?vehicle=van-000": "Tom Ash", "/service": "16 partitions did not answer.",
	} {
		t.Run(strings.Trim(path, "/"), func(t *testing.T) {
			t.Parallel()
			page := get(t, h, path)
			wants(t, page, "This page is incomplete: ", "of the fleet did not answer in time.", knows)
			if strings.Contains(page, "nothing needs seeing to") {
				t.Error("all is said to be well")
			}
		})
	}
}
