package schema

func settingsFile() node {
	address := pattern(`^.*:[0-9-]+$`, "127.0.0.1:4222")
	root := object(nil, map[string]node{
		"clock": keyed(choice("wall", "events"), "`wall` is this machine's clock. `events` lets the time follow what is reported, to read a past year.", "wall", "wall"),
		"listen": keyed(address, "Where the service's own NATS server listens, as host:port; port -1 is any free one. Whoever reaches it can send events, so keep it on the loopback, or secure the way to it.",
			"127.0.0.1:4222", "127.0.0.1:4222"),
		"nats":    keyed(text(), "A NATS server of yours to use in place of the service's own. Rules then come into force by `telltale adopt`.", "nats://nats.example.org:4222", "its own server"),
		"max log": keyed(whole(1, 1<<24), "Most that the log of events may take on the disk, in MiB. When it is full, new events are refused; none is dropped.", "4096", "the disk"),
		"metrics": keyed(address, "Where `/metrics`, `/healthz` and `/readyz` are served. Loopback only.", "127.0.0.1:9464", "not served"),
		"mail": keyed(object(nil, map[string]node{
			"from": keyed(text(), "The From line: a name with an address.", "Telltale <telltale@example.org>", "`Telltale <telltale@localhost>`; needed with `smtp`"),
		}), "Settings of all mails, sent or written as files.", `{from: "Telltale <telltale@example.org>"}`, "see `from`"),
		"smtp":     keyed(smtp(), "The mail server. Without it each mail is written as a file into the folder `mail`.", "{host: mail.example.org}", "mails are files"),
		"webhooks": keyed(object(nil, map[string]node{"allow": keyed(oneOrMore(text()), "Ranges of private addresses that webhooks may call nevertheless.", "[10.20.0.0/16]", "public addresses alone")}), "What webhooks may reach.", "{allow: [10.20.0.0/16]}", "public addresses alone"),
		"answers":  keyed(answers(), "Pages behind links in the messages, on which people acknowledge an alarm, put it aside or enter work.", "{url: https://fleet.example.org}", "no links"),
		"baselines": keyed(pattern(`^\S+( +\S+){4}$|^@\S+$`, "0 0 1 * *"), "When baselines are made anew from the fleet's own samples, as cron writes it, in UTC.",
			"0 0 1 * *", "on the first of each month"),
	})
	root["title"] = "Telltale settings"
	return root
}

func smtp() node {
	return object([]string{"host"}, map[string]node{
		"host":          keyed(text(), "The server's name.", "mail.example.org", "needed"),
		"port":          keyed(whole(1, 65535), "Its port.", "587", "587, with `tls: always` 465"),
		"user":          keyed(text(), "The name to log in with.", "telltale", "no login"),
		"password file": keyed(text(), "A file that holds the password alone, readable by the service only. A relative path begins in the fleet's folder.", "/etc/telltale/smtp-password", "no password"),
		"tls":           keyed(choice("starttls", "always", "never"), "`starttls` turns to TLS on the open connection, `always` begins with it, `never` sends in the clear.", "always", "starttls"),
		"hello":         keyed(text(), "The name by which the service greets the server.", "fleet.example.org", "localhost"),
	})
}

func answers() node {
	return object(nil, map[string]node{
		"listen":   keyed(text(), "Where the pages are served, as host:port.", "127.0.0.1:8080", "127.0.0.1:8080"),
		"url":      keyed(text(), "The address by which people reach the pages, usually that of a proxy.", "https://fleet.example.org", "http:// and `listen`"),
		"key file": keyed(text(), "The key by which the links are signed. It is made if it is missing; with a new key, all links sent before stop working.", "answers.key", "answers.key"),
	})
}
