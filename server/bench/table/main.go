// Command table reads the output of benchmarks, passes it on to a file for benchstat if one is named, and prints those that are compared
// with a floor as a table: what the floor did, what ours did, their ratio and what it is to be. A ratio is
// how much of the floor's rate ours reaches; "by CPU" is the same by the processors' time, which other programs disturb less.
//
//	go test -run '^$' -bench . ./server/bench | go run ./server/bench/table -o bench.txt
package main

import (
	"bufio"
	"flag"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
)

func main() {
	out := flag.String("o", "", "file to which the text is appended")
	flag.Parse()
	if err := run(os.Stdin, os.Stdout, *out); err != nil {
		fmt.Fprintln(os.Stderr, "table:", err)
		os.Exit(1)
	}
}

func run(in io.Reader, to io.Writer, file string) error {
	kept := io.Discard
	if file != "" {
		f, err := os.OpenFile(file, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
		if err != nil {
			return err
		}
		defer f.Close()
		kept = f
	}
	w := tabwriter.NewWriter(to, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "path\tfloor\tours\tratio\tgoal\tby CPU\tp50 µs\tp99 µs\tp99 ratio\t")
	var rest []string
	failed := false
	for lines := bufio.NewScanner(in); lines.Scan(); {
		line := lines.Text()
		fmt.Fprintln(kept, line)
		fields := strings.Fields(line)
		if !strings.HasPrefix(line, "Benchmark") || len(fields) < 4 {
			failed = failed || strings.HasPrefix(line, "FAIL") || strings.HasPrefix(line, "--- FAIL")
			if failed {
				rest = append(rest, line)
			}
			continue
		}
		name := strings.TrimPrefix(fields[0], "Benchmark")
		if i := strings.LastIndexByte(name, '-'); i > 0 {
			name = name[:i]
		}
		m, unit := metrics(fields[2:])
		if _, ok := m["ratio"]; !ok {
			rest = append(rest, name+"  "+strings.Join(fields[2:], " "))
			continue
		}
		show := func(key, form string) string {
			if v, ok := m[key]; ok {
				return fmt.Sprintf(form, v)
			}
			return ""
		}
		fmt.Fprintf(w, "%s\t%.0f %s\t%.0f %s\t%.2f\t%s\t%s\t%s\t%s\t%s\t\n", name, m["floor-"+unit], unit, m[unit], unit, m["ratio"],
			show("goal", "%.2g"), show("cpu-ratio", "%.2f"), show("p50-µs", "%.0f"), show("p99-µs", "%.0f"), show("p99-ratio", "%.2f"))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(to, strings.Join(rest, "\n"))
	if failed {
		return fmt.Errorf("a benchmark failed")
	}
	return nil
}

// metrics are the figures of a line, by unit, and the unit in which the floor is given too.
func metrics(fields []string) (m map[string]float64, unit string) {
	m = map[string]float64{}
	for i := 0; i+1 < len(fields); i += 2 {
		v, err := strconv.ParseFloat(fields[i], 64)
		if err != nil {
			break
		}
		m[fields[i+1]] = v
		if u, ok := strings.CutPrefix(fields[i+1], "floor-"); ok && strings.HasSuffix(u, "/s") {
			unit = u
		}
	}
	return m, unit
}
