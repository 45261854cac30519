package ops

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Sources are what is not counted but asked when somebody looks. One that fails gives no figure.
type Sources struct {
	StoreBytes   func() (float64, error) // size of the database file with its log
	AuditEntries func() (float64, error)
	Ready        func() error
}

// Metrics are counters in the form of Prometheus.
type Metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	running  prometheus.Gauge
	refused  *prometheus.CounterVec
}

// New makes counters that stand at nothing. version is of the program.
func New(version string, from Sources) *Metrics {
	m := &Metrics{registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "evenhand_requests_total",
			Help: "Requests answered, by pattern of the route, method and class of the status."}, []string{"route", "method", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "evenhand_request_seconds", Help: "How long requests took; event streams last as long as somebody listens.",
			Buckets: []float64{.005, .02, .1, .5, 2, 10, 60}}, []string{"route", "method"}),
		running: prometheus.NewGauge(prometheus.GaugeOpts{Name: "evenhand_requests_running", Help: "Requests that are being answered, event streams among them."}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "evenhand_refused_total",
			Help: "Requests of somebody unknown (401), not allowed (403), or too many (429)."}, []string{"route", "status"}),
	}
	info := prometheus.NewGauge(prometheus.GaugeOpts{Name: "evenhand_build_info", Help: "Always 1.", ConstLabels: prometheus.Labels{"version": version}})
	info.Set(1)
	m.registry.MustRegister(m.requests, m.seconds, m.running, m.refused, info, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		asked("evenhand_store_bytes", "Size of the database file with its log.", from.StoreBytes),
		asked("evenhand_audit_entries", "Entries of the audit.", from.AuditEntries),
		asked("evenhand_ready", "Whether the program can serve.", func() (float64, error) {
			if from.Ready() != nil {
				return 0, nil
			}
			return 1, nil
		}))
	return m
}

// Begin counts a request as running, and gives what is called as it ends.
func (m *Metrics) Begin() func(route, method string, status int, took time.Duration) {
	m.running.Inc()
	return func(route, method string, status int, took time.Duration) {
		m.running.Dec()
		m.requests.WithLabelValues(route, method, strconv.Itoa(status/100)+"xx").Inc()
		m.seconds.WithLabelValues(route, method).Observe(took.Seconds())
		switch status {
		case http.StatusUnauthorized, http.StatusForbidden, http.StatusTooManyRequests:
			m.refused.WithLabelValues(route, strconv.Itoa(status)).Inc()
		}
	}
}

// Handler shows the counters at /metrics, and nothing else.
func (m *Metrics) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4}))
	return mux
}

// figure is asked for as somebody looks.
type figure struct {
	desc *prometheus.Desc
	ask  func() (float64, error)
}

func asked(name, help string, ask func() (float64, error)) figure {
	return figure{prometheus.NewDesc(name, help, nil, nil), ask}
}

// Describe is for the registry.
func (f figure) Describe(ch chan<- *prometheus.Desc) { ch <- f.desc }

// Collect is for the registry. A figure that is not known is left out.
func (f figure) Collect(ch chan<- prometheus.Metric) {
	if x, err := f.ask(); err == nil {
		ch <- prometheus.MustNewConstMetric(f.desc, prometheus.GaugeValue, x)
	}
}
