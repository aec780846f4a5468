// Command witnessmark is what people use: one file a command, on top of package client.
package main

import "os"

func main() { os.Exit(execute(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
