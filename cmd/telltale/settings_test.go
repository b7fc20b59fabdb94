package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"telltale/rules/schema"
)

// settingsOf reads the text as telltale.yaml of a folder that holds a password.
func settingsOf(t *testing.T, text string) (settings, error) {
	t.Helper()
	dir := t.TempDir()
	write(t, dir, map[string]string{"telltale.yaml": text, "password": "secret\n"})
	return loadSettings(dir)
}

// TestSettingsSchema holds the schema of telltale.yaml, and so the reference made from it,
// to what the program reads: the same keys, and every example is taken.
func TestSettingsSchema(t *testing.T) {
	var file map[string]any
	if err := json.Unmarshal(schema.Of("settings"), &file); err != nil {
		t.Fatal(err)
	}
	known := regexp.MustCompile(`hint: known here: (.*)`)
	top := file["properties"].(map[string]any)
	parts := map[string]map[string]any{"": top}
	for _, key := range []string{"mail", "smtp", "answers", "webhooks"} {
		parts[key] = top[key].(map[string]any)["properties"].(map[string]any)
	}
	for of, keys := range parts {
		frame := "%s: %s\n"
		if of != "" {
			frame = of + ": {%s: %s}\n"
		}
		_, err := settingsOf(t, fmt.Sprintf(frame, "qqqqqqqqqq", "1"))
		if err == nil || !known.MatchString(err.Error()) {
			t.Fatalf("%s: %v", of, err)
		}
		want := strings.Split(known.FindStringSubmatch(err.Error())[1], ", ")
		if got := slices.Sorted(maps.Keys(keys)); !slices.Equal(got, slices.Sorted(slices.Values(want))) {
			t.Errorf("%s: the schema has %q, the program knows %q", of, got, want)
		}
		for key, n := range keys {
			example, _, _ := strings.Cut(strings.TrimPrefix(n.(map[string]any)["$comment"].(string), "as "), "; default: ")
			if key == "password file" {
				example = "password" // one that is there
			}
			text := fmt.Sprintf(frame, key, "'"+example+"'")
			if strings.HasPrefix(example, "{") || strings.HasPrefix(example, "[") {
				text = fmt.Sprintf(frame, key, example)
			}
			if key == "port" || key == "max log" {
				text = fmt.Sprintf(frame, key, example)
			}
			if of == "smtp" && key != "host" {
				text = strings.Replace(text, "{", "{host: mail.example.org, ", 1)
			}
			if key == "smtp" || of == "smtp" {
				text += "mail: {from: telltale@example.org}\n"
			}
			if _, err := settingsOf(t, text); err != nil {
				t.Errorf("%s%v", text, err)
			}
		}
	}
}

// TestSettingsPage: the example of the reference is taken.
func TestSettingsPage(t *testing.T) {
	page, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(fenced(t, string(page), "## telltale.yaml"), "/etc/telltale/smtp-password", "password", 1)
	set, err := settingsOf(t, text)
	if err != nil || set.Mail.Host != "mail.larkfell.example" || set.Answers.URL != "https://fleet.larkfell.example" {
		t.Errorf("%+v (%v)", set, err)
	}
}
