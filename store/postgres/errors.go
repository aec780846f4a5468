package postgres

import (
	"errors"
	"fmt"
	"net/url"
	"strings"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/store"
)

// refusal is a database that this engine does not take as it is.
type refusal string

func (r refusal) Error() string { return string(r) }

// parse reads a URL. No error holds any of it that might be the password.
func parse(text string) (*pgconn.Config, string, error) {
	const form = "postgres://user@host:port/name is allowed, the password in it or in PGPASSWORD"
	u, err := url.Parse(text)
	if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" {
		return nil, "", errors.New("database URL: it is none; " + form)
	}
	config, err := pgconn.ParseConfig(text)
	if err != nil {
		var why *pgconn.ParseConfigError
		if inner := errors.Unwrap(err); errors.As(err, &why) && inner != nil {
			err = inner
		}
		said := line(err.Error())
		secret, _ := u.User.Password()
		for _, secret := range append(u.Query()["password"], secret, text) {
			if secret != "" && (strings.Contains(said, secret) || strings.Contains(said, url.QueryEscape(secret))) {
				said = "it cannot be read"
			}
		}
		return nil, "", fmt.Errorf("database URL: %s; %s", said, form)
	}
	where := fmt.Sprintf("%s:%d", config.Host, config.Port)
	if strings.HasPrefix(config.Host, "/") {
		where = config.Host
	}
	return config, fmt.Sprintf("database %s at %s", config.Database, where), nil
}

func line(text string) string { return strings.Join(strings.Fields(text), " ") }

// isLost is whether a connection's end is unknown to us, so that whatever was sent may have been done.
func isLost(err error) bool {
	var said *pgconn.PgError
	return err != nil && (!errors.As(err, &said) || fatal(said))
}

func fatal(said *pgconn.PgError) bool {
	severity := said.SeverityUnlocalized
	if severity == "" {
		severity = said.Severity
	}
	return severity == "FATAL" || severity == "PANIC"
}

// explained is an error of the driver as one line with the engine's sentinels. The database's details are
// left out, since they quote keys.
func (e *Engine) explained(err error) error {
	var said *pgconn.PgError
	var no refusal
	switch {
	case err == nil:
		return nil
	case errors.As(err, &no), errors.Is(err, store.ErrDamaged), errors.Is(err, ErrNewer), errors.Is(err, store.ErrClosed):
		return fmt.Errorf("%s: %w", e.place, err)
	case !errors.As(err, &said):
		return fmt.Errorf("%s: %w: %s", e.place, store.ErrAway, line(innermost(err).Error()))
	}
	say := func(sentinel error, text string) error {
		if sentinel == nil {
			return fmt.Errorf("%s: %s", e.place, text)
		}
		return fmt.Errorf("%s: %w: %s", e.place, sentinel, text)
	}
	message := line(said.Message)
	switch code := said.Code; {
	case code == "53100":
		return say(ErrFull, message)
	case code == "53300":
		return say(store.ErrAway, "it has no connection left; raise max_connections, or give each server fewer")
	case code == "42501":
		return say(nil, message+"; the role must own the schema witnessmark, or be allowed to create it")
	case strings.HasPrefix(code, "28"):
		return say(nil, "it does not let in the user of the URL: "+message)
	case code == "3D000":
		return say(nil, "there is no such database; create it first")
	case code == "25006":
		return say(store.ErrAway, "it is a standby, which takes no writes")
	case code == "XX001", code == "XX002":
		return say(store.ErrDamaged, message)
	case strings.HasPrefix(code, "53"), strings.HasPrefix(code, "57"), strings.HasPrefix(code, "08"), fatal(said):
		return say(store.ErrAway, message)
	}
	return say(nil, message+" ("+said.Code+")")
}

// ErrFull is a database whose disk is full. Nothing was changed.
var ErrFull = errors.New("its disk is full")

// innermost is the cause at the end of a chain, without the driver's frames around it.
func innermost(err error) error {
	for {
		var next error
		switch wraps := err.(type) {
		case interface{ Unwrap() error }:
			next = wraps.Unwrap()
		case interface{ Unwrap() []error }:
			if all := wraps.Unwrap(); len(all) > 0 {
				next = all[len(all)-1]
			}
		}
		if next == nil {
			return err
		}
		err = next
	}
}
