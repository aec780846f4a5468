package postgres

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
)

// sessionParameters hold for every connection, whatever is set for the role, the database or in the URL.
var sessionParameters = map[string]string{
	"application_name": "witnessmark",
	// A commit is acknowledged when it is on the disk, and on those of the synchronous standbys.
	"synchronous_commit": "on",
	// A standby's wait that was cancelled is told by a warning alone.
	"client_min_messages": "warning",
	"search_path":         "pg_catalog",
	// The writers' lock is not held for ever by a process that stopped or a machine that is gone.
	"idle_in_transaction_session_timeout": "120000",
	"tcp_keepalives_idle":                 "10",
	"tcp_keepalives_interval":             "5",
	"tcp_keepalives_count":                "3",
	"tcp_user_timeout":                    "25000",
	"statement_timeout":                   "0",
	"lock_timeout":                        "0",
	// There are no statistics, since those hold keys; every access is by an index.
	"plan_cache_mode":   "force_generic_plan",
	"enable_seqscan":    "off",
	"enable_bitmapscan": "off",
	"enable_hashjoin":   "off",
	"enable_mergejoin":  "off",
	"jit":               "off",
}

// conn is one connection. Nothing of an older epoch is used any more (see guard.go).
type conn struct {
	pg       *pgconn.PgConn
	epoch    uint64
	prepared [queries]*pgconn.StatementDescription
	warned   bool   // the database warned since this was last set to false
	warning  string // the last one
}

type call struct {
	query query
	args  [][]byte
}

func do(q query, args ...[]byte) call { return call{q, args} }

// answer is what one call brought.
type answer struct {
	rows [][][]byte
	tag  string
}

// one is the only row, or none.
func (a answer) one() [][]byte {
	if len(a.rows) == 0 {
		return nil
	}
	return a.rows[0]
}

// run sends all calls at once. After one that fails none is done. An error that isLost leaves unknown which were.
func (c *conn) run(calls ...call) ([]answer, error) {
	p := c.pg.StartPipeline(context.Background()) // no context: giving up would cancel a COMMIT
	for _, call := range calls {
		formats := make([]int16, len(call.args))
		for i := range formats {
			formats[i] = 1
		}
		p.SendQueryStatement(c.prepared[call.query], call.args, formats, binaryResults)
	}
	err := p.Sync()
	var out []answer
	for range calls {
		if err != nil {
			break
		}
		var got any
		if got, err = p.GetResults(); err != nil {
			break
		}
		reader, ok := got.(*pgconn.ResultReader)
		if !ok {
			err = fmt.Errorf("the database answered with %T", got)
			break
		}
		result := reader.Read()
		out, err = append(out, answer{result.Rows, result.CommandTag.String()}), result.Err
	}
	if ending := p.Close(); err == nil {
		err = ending
	}
	return out, err
}

var binaryResults = []int16{1}

// prepare has the database parse every statement, in one exchange.
func (c *conn) prepare() error {
	p := c.pg.StartPipeline(context.Background())
	for q, text := range statements {
		p.SendPrepare(fmt.Sprint("w", q), text, nil)
	}
	err := p.Sync()
	for q := range statements {
		if err != nil {
			break
		}
		var got any
		if got, err = p.GetResults(); err == nil {
			d := got.(*pgconn.StatementDescription)
			d.Name = fmt.Sprint("w", q)
			c.prepared[q] = d
		}
	}
	if ending := p.Close(); err == nil {
		err = ending
	}
	return err
}

// text runs statements that are not prepared, with answers as text.
func (c *conn) text(ctx context.Context, sql string) ([]*pgconn.Result, error) {
	return c.pg.Exec(ctx, sql).ReadAll()
}

// dial connects and looks at the server; nothing is prepared yet.
func (e *Engine) dial(ctx context.Context) (*conn, error) {
	c := &conn{}
	config := e.config.Copy()
	var connected atomic.Bool
	dialer := net.Dialer{
		KeepAliveConfig: net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 3},
		Control:         limitUnacknowledged,
	}
	config.DialFunc = func(ctx context.Context, network, address string) (net.Conn, error) {
		if connected.Load() {
			// The driver wants to cancel what a lost connection was doing, which may be a COMMIT.
			return nil, errors.New("nothing is cancelled")
		}
		return dialer.DialContext(ctx, network, address)
	}
	config.OnNotice = func(_ *pgconn.PgConn, n *pgconn.Notice) {
		if n.SeverityUnlocalized == "WARNING" || n.Severity == "WARNING" {
			c.warned, c.warning = true, line(n.Message)
		}
	}
	config.OnNotification = func(*pgconn.PgConn, *pgconn.Notification) {}
	var err error
	if c.pg, err = pgconn.ConnectConfig(ctx, config); err != nil {
		return nil, err
	}
	connected.Store(true)
	if err := e.look(ctx, c); err != nil {
		c.close()
		return nil, err
	}
	return c, nil
}

// look refuses a server that may lose what it acknowledged, and takes the connection into the epoch.
func (e *Engine) look(ctx context.Context, c *conn) error {
	got, err := c.text(ctx, `SELECT current_setting('fsync'), current_setting('full_page_writes'), pg_postmaster_start_time()`)
	if err != nil {
		return err
	}
	row := got[0].Rows[0]
	for i, name := range []string{"fsync", "full_page_writes"} {
		if string(row[i]) != "on" {
			return refusal(name + " is " + string(row[i]) + ", with which a crash loses what was acknowledged; set it to on in postgresql.conf")
		}
	}
	e.join(c, string(row[2]))
	return nil
}

// close does not wait for the server.
func (c *conn) close() {
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = c.pg.Close(ctx)
	}()
}

// connect is a connection to work with. Its errors are explained.
func (e *Engine) connect() (*conn, error) {
	ctx, cancel := context.WithTimeout(context.Background(), connectWithin)
	defer cancel()
	c, err := e.dial(ctx)
	if err != nil {
		return nil, e.gone(err)
	}
	if err := c.prepare(); err != nil {
		defer c.close()
		if isLost(err) {
			return nil, e.gone(err)
		}
		if form, unread := readForm(ctx, c); unread == nil && checkForm(form) != nil {
			err = checkForm(form) // which is why there are not the columns that were asked for
		}
		return nil, e.explained(err)
	}
	return c, nil
}

// gone says once that the database cannot be reached.
func (e *Engine) gone(why error) error {
	err := e.explained(why)
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.away == nil {
		e.options.Log.Warn("the database is away", "why", err.Error())
	}
	e.away, e.nextTry = err, time.Now().Add(retryEvery)
	return err
}

// connectWithin is how long a connection may take to make, over all hosts of the URL.
const connectWithin = 10 * time.Second

// retryEvery is how often all transactions together try to reach a database that is away.
const retryEvery = 100 * time.Millisecond

// acquire waits for its turn and answers with an idle connection of this epoch, or a new one.
func (e *Engine) acquire() (*conn, error) {
	e.turns <- struct{}{}
	c, err := e.idleOrAway()
	if c == nil && err == nil {
		c, err = e.connect()
	}
	if err != nil {
		<-e.turns
	}
	return c, err
}

func (e *Engine) idleOrAway() (*conn, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for len(e.idle) > 0 {
		c := e.idle[len(e.idle)-1]
		e.idle = e.idle[:len(e.idle)-1]
		if c.epoch == e.epoch {
			return c, nil
		}
		c.close()
	}
	if e.away != nil && time.Now().Before(e.nextTry) {
		return nil, e.away
	}
	return nil, nil
}

// release ends what c was doing and keeps it for the next one.
func (e *Engine) release(c *conn) {
	defer func() { <-e.turns }()
	if !c.pg.IsClosed() && c.pg.TxStatus() != 'I' {
		if _, err := c.run(do(rollback)); err != nil {
			e.lost(c, err)
		}
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if c.pg.IsClosed() || c.epoch != e.epoch || e.closed {
		c.close()
		return
	}
	e.idle = append(e.idle, c)
}
