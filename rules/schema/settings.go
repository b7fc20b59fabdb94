package schema

import "telltale/rules/unit"

func settingsFile() node {
	address := pattern(`^.*:[0-9-]+$`, "127.0.0.1:4222")
	root := object(nil, map[string]node{
		"clock": keyed(choice("wall", "events"), "`wall` uses this machine's clock. With `events`, time follows the dates of the events, to run through a past year.", "wall", "wall"),
		"listen": keyed(address, "Where the service's own NATS server listens, as host:port; port -1 takes any free one. Beyond the loopback interface it needs `certificate` and `key`, and `programs` or `rights` in people.yaml.",
			"127.0.0.1:4222", "127.0.0.1:4222"),
		"certificate": keyed(text(), "A file with the certificate in PEM: the service's own first, then those between it and the authority's. All that listens beyond the loopback interface is served with it: the board, the pages of the answers, NATS. It is read again when it changes. A relative path starts in the fleet's folder.",
			"/etc/telltale/certificate.pem", "none; nothing listens beyond the loopback interface"),
		"key": keyed(text(), "The certificate's private key in PEM, without a password, in a file that only the service can read.", "/etc/telltale/key.pem", "required with `certificate`"),
		"ca": keyed(text(), "A file with the authority's certificate in PEM, where an authority of your own signed that of the NATS server. It is used by the service that joins a server, and by commands with `--dir`.",
			"/etc/telltale/ca.pem", "the authorities that the system trusts"),
		"proxy": keyed(oneOrMore(text()), "Addresses of the proxies in front of the pages, or ranges of them. Only they are believed when they say in `X-Forwarded-For` for whom they ask. Pages that listen beyond the loopback interface without `certificate` answer them alone.",
			"[10.20.0.5]", "none"),
		"reads": keyed(oneOrMore(choice(unit.Choices()...)), "The units in which people read of the fleet: at most one each of distance, volume, temperature and pressure. A vehicle's own `reads` and a person's units in people.yaml go before these.",
			"[mi, qt]", "the units of the rules"),
		"nats":          keyed(text(), "A NATS server of yours, used instead of the service's own. Rules then come into force with `telltale adopt`.", "nats://nats.example.org:4222", "the service's own"),
		"nats key file": keyed(text(), "The file with the key by which the service signs in at the server in `nats`. A relative path starts in the folder.", "operator.nk", "it signs in as the address says, or not at all"),
		"max log":       keyed(whole(1, 1<<24), "The most space that the log of events may take, in MiB. When it is full, new events are refused and none is dropped.", "4096", "the space on the disk"),
		"metrics":       keyed(address, "Where `/metrics`, `/healthz` and `/readyz` are served: an address of the loopback interface.", "127.0.0.1:9464", "not served"),
		"mail": keyed(object(nil, map[string]node{
			"from": keyed(text(), "The From line: a name with an address.", "Telltale <telltale@example.org>", "`Telltale <telltale@localhost>`; required with `smtp`"),
		}), "What mails look like, however they are sent.", `{from: "Telltale <telltale@example.org>"}`, "see `from`"),
		"smtp":     keyed(smtp(), "The mail server. Without it, each mail is written as a file into the folder `mail`.", "{host: mail.example.org}", "mails are written as files"),
		"webhooks": keyed(object(nil, map[string]node{"allow": keyed(oneOrMore(text()), "Ranges of private addresses that webhooks may call, too.", "[10.20.0.0/16]", "only public addresses")}), "Which addresses webhooks may call.", "{allow: [10.20.0.0/16]}", "only public addresses"),
		"answers":  keyed(answers(), "The pages that links in messages lead to. There people acknowledge an alarm, put it aside or enter work.", "{url: https://fleet.example.org}", "no links"),
		"board":    keyed(boardKeys(), "The board: the pages for people who never open a terminal.", "{listen: 127.0.0.1:4280}", "see `listen`"),
		"baselines": keyed(pattern(`^\S+( +\S+){4}$|^@\S+$`, "0 0 1 * *"), "When baselines are computed again from the fleet's own samples: a cron schedule, in UTC.",
			"0 0 1 * *", "on the first of each month"),
	})
	root["title"] = "Telltale settings"
	return root
}

func smtp() node {
	return object([]string{"host"}, map[string]node{
		"host":          keyed(text(), "The server's name.", "mail.example.org", "required"),
		"port":          keyed(whole(1, 65535), "Its port.", "587", "587, or 465 with `tls: always`"),
		"user":          keyed(text(), "The name to log in with.", "telltale", "no login"),
		"password file": keyed(text(), "A file that contains only the password and that only the service can read. A relative path starts in the fleet's folder.", "/etc/telltale/smtp-password", "no password"),
		"tls":           keyed(choice("starttls", "always", "never"), "`starttls` switches to TLS on the open connection, `always` uses TLS from the start, `never` sends unencrypted.", "always", "starttls"),
		"hello":         keyed(text(), "The name that the service gives itself when it greets the server.", "fleet.example.org", "localhost"),
	})
}

func answers() node {
	return object(nil, map[string]node{
		"listen":   keyed(text(), "Where the pages are served, as host:port. Beyond the loopback interface they need `certificate` and `key`, or `proxy`.", "127.0.0.1:8080", "127.0.0.1:8080"),
		"url":      keyed(text(), "The address at which people reach the pages, usually a proxy in front of them.", "https://fleet.example.org", "`http://` or `https://`, and `listen`"),
		"key file": keyed(text(), "The file with the key that signs the links. It is created if it is missing. With a new key, links sent earlier stop working.", "answers.key", "answers.key"),
	})
}

func boardKeys() node {
	return object(nil, map[string]node{
		"listen": keyed(text(), "Where the pages are served, as host:port; `off` serves none. Beyond the loopback interface they need `certificate` and `key`, or `proxy`.", "127.0.0.1:4280", "127.0.0.1:4280, or any free port where that is taken"),
		"url":    keyed(text(), "The address at which people reach the pages: it is in the codes on printed lists.", "https://fleet.example.org", "`http://` or `https://`, and where they are served"),
		"sign in": keyed(choice("always", "never"), "`always` has everybody sign in, also at this machine; `never` nobody, and only where nobody else can reach the board.",
			"always", "when others than those at this machine can reach the board, or people.yaml has `rights`"),
		"fleet sign-in": keyed(object([]string{"issuer", "client", "secret file"}, map[string]node{
			"issuer":        keyed(text(), "The provider's address, as its discovery document has it.", "https://login.example.org", "required"),
			"client":        keyed(text(), "The name that the provider gave this service. It must know the address `/sign-in/fleet/back` under `url`.", "telltale", "required"),
			"secret file":   keyed(text(), "A file with the secret that goes with it. A relative path starts in the fleet's folder.", "secrets/login", "required"),
			"second factor": keyed(oneOrMore(text()), "What the provider's `acr` or `amr` says when two factors were shown.", "[mfa]", "[mfa]"),
		}), "The fleet's own provider of OpenID Connect, at which those people sign in who have a `subject` in people.yaml.", "{issuer: https://login.example.org, client: telltale, secret file: secrets/login}", "people sign in by a link in a mail, or a passkey"),
	})
}
