package beacon

import (
	"fmt"
	"net/url"
	"strings"
	"unicode/utf8"

	"undersheet/logbook"
)

// Levels of topics, after the beginning that all have in common.
const (
	topicOnline = "online" // <topic>/online
	topicStores = "stores" // <topic>/stores/<store>/gate
	topicGate   = "gate"
	topicAlarms = "alarms" // <topic>/alarms/<alarm>/<place>
	topicStacks = "stacks" // <topic>/stacks/<stack>
)

// Payloads of <topic>/online.
const (
	Online  = "online"  // the program runs and shows the present
	Offline = "offline" // it does not: every gate is to be taken for shut
)

// mostTopic is the longest topic that MQTT can carry, in bytes (MQTT 3.1.1,
// section 1.5.3).
const mostTopic = 65535

// filters match every topic that this package publishes, and few others.
func filters(prefix string) []string {
	return []string{prefix + "/" + topicOnline, prefix + "/" + topicStores + "/+/" + topicGate, prefix + "/" + topicAlarms + "/+/+", prefix + "/" + topicStacks + "/+"}
}

// escape makes a name fit for one level of a topic. What MQTT forbids in a name
// or gives a meaning (/ + # and, MQTT 3.1.1 section 1.5.3, control characters,
// noncharacters and bytes that are not UTF-8) is percent-encoded, as is % itself.
func escape(name string) string {
	var b strings.Builder
	for i, r := range name {
		n := utf8.RuneLen(r)
		bad := r == utf8.RuneError && !strings.HasPrefix(name[i:], string(utf8.RuneError))
		if bad {
			n = 1
		}
		if bad || strings.ContainsRune("/+#%", r) || r < 0x20 || r >= 0x7f && r < 0xa0 || r >= 0xfdd0 && r <= 0xfdef || r&0xfffe == 0xfffe {
			for _, c := range []byte(name[i : i+n]) {
				fmt.Fprintf(&b, "%%%02X", c)
			}
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

// unescape returns the name that escape made level from.
func unescape(level string) (string, error) {
	name, err := url.PathUnescape(level)
	if err != nil {
		return "", fmt.Errorf("read the name %q in a topic: %w", level, err)
	}
	return name, nil
}

// gateTopic returns the topic of a store's gate.
func gateTopic(prefix, store string) string {
	return strings.Join([]string{prefix, topicStores, escape(store), topicGate}, "/")
}

// storeOf returns the store whose gate has this topic; ok = it is a gate's.
func storeOf(prefix, topic string) (store string, ok bool) {
	rest, ours := strings.CutPrefix(topic, prefix+"/"+topicStores+"/")
	level, gate := strings.CutSuffix(rest, "/"+topicGate)
	if !ours || !gate || strings.Contains(level, "/") {
		return "", false
	}
	store, err := unescape(level)
	if err != nil {
		store = level // not ours, but a gate all the same
	}
	return store, true
}

// alarmTopic returns the topic of an alarm.
func alarmTopic(prefix string, a *logbook.Alarm) string {
	return strings.Join([]string{prefix, topicAlarms, escape(a.Alarm), place(a)}, "/")
}

// place returns the level that says what an alarm is of.
func place(a *logbook.Alarm) string {
	var parts []string
	for _, p := range [][2]string{{"store", a.Store}, {"stack", a.Stack}, {"line", a.Line}, {"point", a.Point}, {"channel", a.Channel}, {"owed", a.Which()}} {
		if p[1] != "" {
			parts = append(parts, p[0]+"="+strings.ReplaceAll(escape(p[1]), ",", "%2C"))
		}
	}
	if parts == nil {
		return "site"
	}
	return strings.Join(parts, ",")
}
