package desk

import (
	"errors"
	"net"
	"slices"
	"strings"
)

// inside are the names of networks that live in this computer only: containers and virtual machines.
var insideNetworks = []string{"docker", "br-", "veth", "virbr", "vmnet", "vboxnet", "lxc", "podman", "cni", "tun", "tap", "wg", "utun", "tailscale"}

// networkIPs lists this computer's addresses in its networks, the likeliest first: the one that leads on
// comes before others, private ones before public ones.
func networkIPs() ([]net.IP, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, err
	}
	var out []net.IP
	for _, i := range all {
		if i.Flags&net.FlagUp == 0 || i.Flags&(net.FlagLoopback|net.FlagPointToPoint) != 0 || slices.ContainsFunc(insideNetworks, func(p string) bool { return strings.HasPrefix(i.Name, p) }) {
			continue
		}
		addrs, err := i.Addrs()
		if err != nil {
			continue
		}
		for _, a := range addrs {
			if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsGlobalUnicast() {
				out = append(out, n.IP.To4())
			}
		}
	}
	if len(out) == 0 {
		return nil, errors.New("this computer is in no network; join the same wireless network as the phone first")
	}
	rank := func(ip net.IP) int {
		switch {
		case ip.Equal(leadsOn()):
			return 0
		case ip.IsPrivate():
			return 1
		}
		return 2
	}
	slices.SortStableFunc(out, func(a, b net.IP) int { return rank(a) - rank(b) })
	return out, nil
}

// leadsOn is the address that packets to other networks would leave from, nil when there is none. Nothing
// is sent: a UDP socket only looks the way up. (192.0.2.0/24 is kept for documentation, RFC 5737.)
func leadsOn() net.IP {
	c, err := net.Dial("udp4", "192.0.2.1:9")
	if err != nil {
		return nil
	}
	defer c.Close()
	if a, ok := c.LocalAddr().(*net.UDPAddr); ok {
		return a.IP.To4()
	}
	return nil
}

// listenAt opens the wanted port of an address, or any when that is taken: a port that stays the same spares
// the grower a new exception in the firewall each time.
func listenAt(ip net.IP, port string) (net.Listener, error) {
	l, err := net.Listen("tcp", net.JoinHostPort(ip.String(), port))
	if err != nil {
		l, err = net.Listen("tcp", net.JoinHostPort(ip.String(), "0"))
	}
	return l, err
}
