package web

import (
	"crypto/tls"
	"image"
	"image/color"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"evenhand/internal/clinic"
)

var pathRun = regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`)

// decoded draws a code's path on a raster and reads it back with another library.
func decoded(t *testing.T, v qrView) string {
	t.Helper()
	const scale = 5
	img := image.NewGray(image.Rect(0, 0, v.Size*scale, v.Size*scale))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	number := func(s string) int { n, _ := strconv.Atoi(s); return n }
	runs := pathRun.FindAllStringSubmatch(v.Path, -1)
	if strings.Join(pathRun.FindAllString(v.Path, -1), "") != v.Path {
		t.Fatal("the path has other parts than runs")
	}
	for _, m := range runs {
		if m[3] != m[4] {
			t.Fatalf("a run that does not close: %s", m[0])
		}
		for x := number(m[1]) * scale; x < (number(m[1])+number(m[3]))*scale; x++ {
			for y := number(m[2]) * scale; y < (number(m[2])+1)*scale; y++ {
				img.SetGray(x, y, color.Gray{})
			}
		}
	}
	for i := range v.Size * scale { // the quiet zone is light
		for k := range quietZone * scale {
			if img.GrayAt(i, k).Y == 0 || img.GrayAt(k, i).Y == 0 || img.GrayAt(i, v.Size*scale-1-k).Y == 0 || img.GrayAt(v.Size*scale-1-k, i).Y == 0 {
				t.Fatal("the quiet zone is not light")
			}
		}
	}
	bmp, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		t.Fatal(err)
	}
	out, err := qrcode.NewQRCodeReader().Decode(bmp, nil)
	if err != nil {
		t.Fatal(err)
	}
	if level := out.GetResultMetadata()[gozxing.ResultMetadataType_ERROR_CORRECTION_LEVEL]; level != "M" {
		t.Errorf("level %v, want M", level)
	}
	return out.GetText()
}

func TestQRCodesAreRead(t *testing.T) {
	for _, text := range []string{"12-KRT", "http://192.168.1.24:8484/s/ABCD2345", "https://screening.example.org/s/ABCD2345", strings.Repeat("https://a.long.address/", 8)} {
		v, err := qrOf(text, "label")
		if err != nil {
			t.Fatal(err)
		}
		if got := decoded(t, v); got != text {
			t.Errorf("read %q, want %q", got, text)
		}
	}
	if _, err := qrOf(strings.Repeat("x", 5000), ""); err == nil {
		t.Error("a text that no code can hold was taken")
	}
}

func TestJoinPage(t *testing.T) {
	p := newPlace(t, Options{})
	id, _ := p.setUp()
	v, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	body := p.get("/days/"+id+"/join", http.StatusOK)
	for i, st := range v.Day.Stations {
		wants(t, body, "http://example.com/s/"+st.Code, "<span>example.com/s/</span><wbr><span>"+st.Code+"<", strconv.Itoa(i+1)+" "+st.Name)
	}
	wants(t, body, "Shoulder external rotation, shoulder internal rotation.", "Back to the board")
	wantsNot(t, body, "Phones cannot reach", "ZgotmplZ")
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/days/"+id+"/join", nil)
	r.Host = "localhost:8484"
	w := httptest.NewRecorder()
	p.router.ServeHTTP(w, r)
	wants(t, w.Body.String(), "Phones cannot reach this address", "--listen 0.0.0.0:8484")
	p.get("/days/none/join", http.StatusNotFound)
}

func TestTheBaseOfTheLinks(t *testing.T) {
	told := func(b string) func(*http.Request) string { return func(*http.Request) string { return b } }
	for name, x := range map[string]struct {
		base  func(*http.Request) string
		host  string
		tls   bool
		want  string
		alone bool
	}{
		"told":             {told("http://192.168.1.4:8484/"), "localhost:8484", false, "http://192.168.1.4:8484", false},
		"told nothing":     {told(""), "192.168.1.4:1", false, "http://192.168.1.4:1", false},
		"not told":         {nil, "127.0.0.1:8484", false, "http://127.0.0.1:8484", true},
		"name of loopback": {nil, "localhost", true, "https://localhost", true},
		"version 6":        {nil, "[::1]:8484", false, "http://[::1]:8484", true},
		"all interfaces":   {told("http://0.0.0.0:8484"), "localhost", false, "http://0.0.0.0:8484", true},
		"a name":           {nil, "gym.local:8484", false, "http://gym.local:8484", false},
	} {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
		r.Host = x.host
		if x.tls {
			r.TLS = &tls.ConnectionState{}
		}
		got := (&server{base: x.base}).baseOf(r)
		if got != x.want || loopback(got) != x.alone {
			t.Errorf("%s: %q, reaches nobody: %v", name, got, loopback(got))
		}
	}
}

// The private ranges of version 4 are those of RFC 1918: 10/8, 172.16/12, 192.168/16.
func TestReachableBase(t *testing.T) {
	ips := func(list ...string) (out []net.IP) {
		for _, x := range list {
			out = append(out, net.ParseIP(x))
		}
		return out
	}
	many := ips("127.0.0.1", "::1", "fe80::1", "fd00::7", "169.254.3.4", "8.8.4.4", "172.32.0.1", "172.16.5.6", "192.168.1.24", "10.0.0.3")
	for _, x := range []struct {
		listen string
		addrs  []net.IP
		public string
		want   string
	}{
		{"0.0.0.0:8484", many, "", "http://172.16.5.6:8484"},
		{"[::]:8484", many, "", "http://172.16.5.6:8484"},
		{":80", many, "", "http://172.16.5.6:80"},
		{"127.0.0.1:8484", many, "", "http://127.0.0.1:8484"},
		{"10.0.0.3:8484", many, "", "http://10.0.0.3:8484"},
		{"gym.local:8484", many, "", "http://gym.local:8484"},
		{"[fd00::7]:8484", many, "", "http://[fd00::7]:8484"},
		{"0.0.0.0:8484", many, "https://screening.example.org/", "https://screening.example.org"},
		{"127.0.0.1:8484", nil, " https://a.example ", "https://a.example"},
		{"0.0.0.0:8484", ips("127.0.0.1", "8.8.4.4"), "", ""},
		{"nonsense", many, "", ""},
	} {
		if got := ReachableBase(x.listen, x.addrs, x.public); got != x.want {
			t.Errorf("%s %q: %q, want %q", x.listen, x.public, got, x.want)
		}
	}
}
