package limits

// Small guards a listener with small limits.
var Small = Proxies{}.guard
